"""For everyone: axe-core finds nothing, controls are large enough, and small windows and large letters lose nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.conftest import PHONE

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.browser.conftest import OpenPage


HERS, PARTNERS = "index.html", "for-partner/index.html"
NARROW = {"width": 320, "height": 640}


def violations(page: Page) -> list[str]:
    """Return what axe-core finds, of any impact: the rule, and where."""
    found: list[dict[str, Any]] = page.evaluate("() => axe.run(document).then((all) => all.violations)")
    return [f"{one['id']} ({one['impact']}): {[node['html'][:120] for node in one['nodes'][:3]]}" for one in found]


def answered(page: Page) -> None:
    """Bring the page into the state with most on it: answers, notes, marks, an own answer, the reply as text."""
    page.locator("#f1 .beside > .answer").get_by_label("Change").check()
    page.locator("#f1 .mark").click()
    page.locator("#marking img").evaluate("one => one.decode()")
    for key in ("Enter", "ArrowRight", "ArrowDown", "Enter"):
        page.keyboard.press(key)
    page.keyboard.press("Escape")
    page.locator("#f1-2 .alone").click()
    page.locator("#f1-2 .answer").get_by_label("Leave out").check()
    page.locator("#reviewer").fill("Mara")
    page.get_by_role("button", name="Copy reply as text").click()
    page.locator("#text").wait_for()


@pytest.mark.parametrize(
    ("place", "options", "scheme"),
    [
        pytest.param(HERS, {}, "light", id="hers, light"),
        pytest.param(PARTNERS, PHONE, "dark", id="the partner's on a phone, dark"),
        pytest.param(HERS, {}, "dark", id="hers, dark", marks=pytest.mark.full),
        pytest.param(PARTNERS, PHONE, "light", id="the partner's on a phone, light", marks=pytest.mark.full),
    ],
)
def test_axe_finds_nothing_in_light_and_dark(
    shown: Path, open_page: OpenPage, axe_script: str, place: str, options: dict[str, Any], scheme: str
) -> None:
    """axe-core 4, all rules: WCAG 2.0 to 2.2, A to AAA where it has rules, and its best practices."""
    page = open_page(shown / place, axe_script, color_scheme=scheme, permissions=["clipboard-write"], **options)
    assert violations(page) == []
    answered(page)
    assert violations(page) == []
    page.locator("#f1-1 .open").click()
    page.locator("#viewer img").evaluate("one => one.decode()")
    assert violations(page) == []
    page.get_by_role("button", name="Mark a change").click()
    page.locator("#marking img").evaluate("one => one.decode()")
    assert violations(page) == []


def test_axe_finds_what_is_wrong(shown: Path, open_page: OpenPage, axe_script: str) -> None:
    """The judge is at work: a control without a name, and letters too pale, are found."""
    page = open_page(shown / PARTNERS, axe_script)
    page.evaluate("() => { document.getElementById('save').textContent = ''; }")
    page.evaluate("() => { document.querySelector('h1').style.color = '#ccc'; }")
    assert {"button-name", "color-contrast"} <= {one.partition(" ")[0] for one in violations(page)}


SMALL = """() => [...document.querySelectorAll("a, button, input, select, textarea, summary, [tabindex='0']")]
  .filter((one) => one.getClientRects().length)
  .map((one) => ({ one, box: (one.closest("label") ?? one).getBoundingClientRect() }))
  .filter(({ one, box }) => box.width < 24 || box.height < 24)
  .filter(({ one }) => getComputedStyle(one).display !== "inline")
  .map(({ one, box }) => `${one.outerHTML.slice(0, 90)} ${Math.round(box.width)} ${Math.round(box.height)}`)"""


@pytest.mark.parametrize(
    ("place", "options"),
    [
        pytest.param(HERS, {}, id="hers"),
        pytest.param(PARTNERS, {"viewport": NARROW}, id="the partner's, 320 px"),
        pytest.param(HERS, {"viewport": NARROW}, id="hers, 320 px", marks=pytest.mark.full),
        pytest.param(HERS, PHONE, id="hers on a phone", marks=pytest.mark.full),
        pytest.param(PARTNERS, PHONE, id="the partner's on a phone", marks=pytest.mark.full),
    ],
)
def test_every_control_is_at_least_24_by_24(
    shown: Path, open_page: OpenPage, place: str, options: dict[str, Any]
) -> None:
    """WCAG 2.2, 2.5.8: 24 by 24 CSS px; links in a sentence (inline) are the exception that it names."""
    page = open_page(shown / place, permissions=["clipboard-write"], **options)
    assert page.evaluate(SMALL) == []
    answered(page)
    assert page.evaluate(SMALL) == []
    page.locator("#f1-1 .open").click()
    assert page.evaluate(SMALL) == []


WIDE = """() => [...document.querySelectorAll("body *")]
  .filter((one) => one.getBoundingClientRect().right > innerWidth + 1 && !one.closest("svg, .files, dialog, .unseen"))
  .map((one) => one.outerHTML.slice(0, 90))"""


@pytest.mark.parametrize(
    ("width", "height", "letters"),
    [
        pytest.param(320, 256, "100%", id="400 %"),
        pytest.param(640, 480, "200%", id="half, large letters"),
        pytest.param(320, 640, "100%", id="320 px", marks=pytest.mark.full),
        pytest.param(1280, 1024, "200%", id="large letters", marks=pytest.mark.full),
        pytest.param(2560, 1440, "100%", id="2560 px", marks=pytest.mark.full),
    ],
)
@pytest.mark.parametrize("place", [HERS, PARTNERS])
def test_nothing_has_to_be_scrolled_sideways(
    shown: Path, open_page: OpenPage, place: str, width: int, height: int, letters: str
) -> None:
    """WCAG 2.2, 1.4.10: 320 x 256 CSS px is a window of 1280 x 1024 at 400 %; 1.4.4: text at 200 %."""
    page = open_page(shown / place, viewport={"width": width, "height": height})
    page.evaluate("size => { document.documentElement.style.fontSize = size; }", letters)
    answered(page)
    assert page.evaluate(WIDE) == []
    assert page.evaluate("() => document.documentElement.scrollWidth <= innerWidth")
    page.locator("#f1-1 .open").click()
    page.locator("#viewer img").evaluate("one => one.decode()")
    for control in ("#viewer-next", "#viewer-close", "#viewer-change"):
        page.locator(control).scroll_into_view_if_needed()
        page.locator(control).click(trial=True)
    stage = page.locator("#viewer-stage").bounding_box()
    assert stage
    assert stage["height"] >= 100  # there is room left for the picture


HIDDEN = """() => {
  const [one, bar] = [document.activeElement, document.querySelector(".bar")];
  if (bar.contains(one) || one === document.body) return null;
  const [box, over] = [one.getBoundingClientRect(), bar.getBoundingClientRect()];
  const isUnder = box.top > over.top && box.top < over.bottom - 1;
  return isUnder ? one.outerHTML.slice(0, 90) : null;
}"""


def test_what_has_the_focus_is_not_hidden_behind_the_bar(shown: Path, open_page: OpenPage) -> None:
    """WCAG 2.2, 2.4.11 and 2.4.12."""
    page = open_page(shown / PARTNERS, viewport={"width": 390, "height": 600})
    for _ in range(60):
        page.keyboard.press("Tab")
        assert page.evaluate(HIDDEN) is None


def test_reading_order_is_the_order_seen(shown: Path, open_page: OpenPage) -> None:
    """What comes first to a screen reader stands above, or on the same line further left."""
    page = open_page(shown / PARTNERS, **PHONE)
    top = "h1, .how, .contents summary"
    frame = "#f1 h2, #f1 .whole, #f1 .beside > .answer, #f1 .facts, #f1 h3, #f1-1, #f1-2, #f2 h2"
    tops = page.locator(f"{top}, {frame}, #reply h2")
    places = [box["y"] for box in (one.bounding_box() for one in tops.all()) if box]
    assert len(places) == 12
    assert places == sorted(places)


def test_own_colours_of_the_reader_are_kept(shown: Path, open_page: OpenPage, axe_script: str) -> None:
    """Forced colours (CSS Color Adjustment 1, 3): boxes are the system's own, a ticked one is seen to be ticked."""
    page = open_page(shown / PARTNERS, axe_script, forced_colors="active")
    box = page.locator("#f1 .answer input").first
    assert box.evaluate("one => getComputedStyle(one).appearance") == "auto"
    assert violations(page) == []


def test_without_scripts_it_is_a_sheet_to_print_and_write_on(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS, java_script_enabled=False)
    assert page.get_by_text("tick a box with a pen").is_visible()
    for hidden in (".bar", "#reply", ".choose", ".alone >> nth=0"):
        assert page.locator(hidden).is_hidden()
    assert page.locator("#f1 .answer input").count() == 3
    assert page.locator("#f1 .answer").is_visible()
    assert page.locator("#f1-1 .open").get_attribute("href") == "full/bowl-from-above--proof.jpg"
    page.locator("#thirds").check()
    assert page.locator("#thirds").is_checked()
    page.emulate_media(media="print")
    assert page.locator("#f1 .answer").is_visible()
    assert page.locator("dialog:visible").count() == 0
