"""The pictures large, and marking on them: by keys, by mouse and by fingers, with the focus kept and given back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from tests.browser.conftest import PHONE
from tests.browser.hands import finger, inside, press, texts

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.browser.conftest import Heard, OpenPage


HERS, PARTNERS = "index.html", "for-partner/index.html"
FOCUS = "() => document.activeElement.id || document.activeElement.className"


def opened(page: Page, card: str) -> None:
    """Open a print in the viewer, and wait until its picture is there."""
    page.locator(f"{card} .open").first.click()
    decoded(page, "#viewer")


def decoded(page: Page, panel: str) -> None:
    page.locator(f"{panel} img").evaluate("one => one.decode()")


def name(page: Page) -> str:
    return page.locator("#viewer-name").inner_text()


def test_every_picture_is_stepped_through_in_the_order_of_the_page(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    opened(page, "#f1 .whole")
    names = [name(page)]
    for _ in range(9):
        press(page, "ArrowRight")
        if name(page) != names[-1]:
            names.append(name(page))
    assert names == [
        "1 Bowl from above, the whole frame",
        "1 Bowl from above, partner/proof",
        "1 Bowl from above, partner/final",
        "2 Bread, the whole frame",
        "2 Bread, partner/proof",
        "2 Bread, partner/final",
        "3 Beans, the whole frame",
        "3 Beans, partner/proof",
    ]
    assert page.locator("#viewer-next").get_attribute("aria-disabled") == "true"
    press(page, "Home")
    assert name(page) == names[0]
    press(page, "End")
    assert name(page) == names[-1]
    press(page, "ArrowLeft", "Escape")
    # The focus is given back to the picture that was looked at last.
    assert page.locator("#f3 .whole .open").evaluate("one => one === document.activeElement")


def test_focus_stays_in_the_panel(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    opened(page, "#f1-1")
    for key in ("Tab", "Shift+Tab"):
        seen = []
        for _ in range(24):
            press(page, key)
            assert page.evaluate("() => document.getElementById('viewer').contains(document.activeElement)")
            seen.append(page.evaluate(FOCUS))
        assert {"viewer-stage", "viewer-previous", "viewer-next", "viewer-change", "viewer-close"} <= set(seen)
    page.locator("#viewer-close").click()
    assert page.locator("#f1-1 .open").evaluate("one => one === document.activeElement")


def test_at_100_per_cent_the_picture_moves_by_mouse_wheel_and_keys(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / HERS, viewport={"width": 700, "height": 500})
    opened(page, "#f1-1")
    image, stage = page.locator("#viewer img"), page.locator("#viewer-stage")
    shown_as, is_ = (image.evaluate(f"one => [one.{kind}Width, one.{kind}Height]") for kind in ("client", "natural"))
    assert is_ == shown_as
    place = "one => [one.scrollLeft, one.scrollTop]"
    before = stage.evaluate(place)
    page.mouse.move(*inside(stage, 0.5, 0.5))
    page.mouse.down()
    page.mouse.move(*inside(stage, 0.4, 0.45), steps=4)
    page.mouse.up()
    dragged = stage.evaluate(place)
    assert dragged[0] == pytest.approx(before[0] + 70, abs=2)
    assert dragged[1] > before[1]
    stage.focus()
    press(page, "ArrowLeft*3")
    page.wait_for_timeout(400)
    assert stage.evaluate(place)[0] < dragged[0]
    page.locator("#viewer-next").focus()
    press(page, "ArrowUp*2")
    assert stage.evaluate(place)[1] < dragged[1]
    assert name(page) == "1 Bowl from above, blog/step"


def test_a_print_that_no_browser_shows_opens_as_a_jpeg_of_its_size(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / HERS)
    opened(page, "[data-rendition='rival-quarterly/cover-star']")
    assert page.locator("#viewer img").evaluate("one => one.naturalWidth") == 960
    assert page.locator("#viewer-size").inner_text() == "960 × 640 pixels, at 100 %"  # noqa: RUF001 (as it is set)
    assert page.locator("#viewer [data-size=phone]").is_hidden()  # it is for paper


@pytest.mark.parametrize(("target", "width"), [("feed/vertical", 390), ("feed/avatar", 48)])
def test_a_shape_is_seen_as_on_a_phone(shown: Path, open_page: OpenPage, target: str, width: int) -> None:
    page = open_page(shown / HERS)
    opened(page, f"[data-rendition='{target}']")
    page.get_by_role("button", name="On a phone").click()
    assert page.locator("#viewer img").evaluate("one => one.clientWidth") == width
    # What names and buttons will cover, or what the circle leaves out, is covered.
    assert page.locator("#viewer .pane path").get_attribute("d") != ""


def test_a_picture_that_is_not_beside_the_page_is_said_to_be_missing(
    shown: Path, open_page: OpenPage, heard: Heard, tmp_path: Path
) -> None:
    (tmp_path / "alone.html").write_bytes((shown / PARTNERS).read_bytes())
    page = open_page(tmp_path / "alone.html")
    page.locator("#f1-1 .open").click(position={"x": 2, "y": 2})
    page.locator("#viewer-size").get_by_text("is not beside this page").wait_for()
    assert {"Failed to load resource: net::ERR_FILE_NOT_FOUND"} == set(heard.console)
    heard.console.clear()


def test_boxes_and_points_are_drawn_with_the_mouse(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    page.locator("#f1 .beside > .answer").get_by_label("Change").check()
    page.locator("#f1 .mark").click()
    decoded(page, "#marking")
    picture = page.locator("#marking img")
    page.mouse.move(*inside(picture, 0.6, 0.8))
    page.mouse.down()
    page.mouse.move(
        *inside(picture, 0.25, 0.2), steps=5
    )  # from the lower right to the upper left: in order all the same
    page.mouse.up()
    for at in ((0.1, 0.1), (0.2, 0.3)):  # two corners, for whoever cannot drag (WCAG 2.2, 2.5.7)
        page.mouse.click(*inside(picture, *at))
    page.get_by_label("a point").check()
    page.mouse.click(*inside(picture, 0.5, 0.5))
    page.get_by_role("button", name="Take the last one back").click()
    page.mouse.click(*inside(picture, 0.75, 0.5))
    page.get_by_role("button", name="Done").click()
    assert texts(page.locator("#f1 .beside .spots li")) == [
        "1. A box, 25 % to 60 % across, 20 % to 80 % down Take back",
        "2. A box, 10 % to 20 % across, 10 % to 30 % down Take back",
        "3. A point, 75 % across, 50 % down Take back",
    ]
    assert page.locator("#f1 .whole .drawn text").all_text_contents() == ["1", "2", "3"]
    page.get_by_role("button", name="Take back mark 2").click()
    assert page.locator("#f1 .whole .drawn rect.spot").count() == 1
    assert page.locator("#f1 .mark").evaluate("one => one === document.activeElement")


def test_escape_lets_go_of_a_corner_before_it_closes(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    page.locator("#f1 .beside > .answer").get_by_label("Change").check()
    page.locator("#f1 .mark").click()
    decoded(page, "#marking")
    press(page, "Enter", "Escape")
    assert page.locator("#marking").is_visible()
    press(page, "ArrowRight", "Enter")
    assert "One corner is set, 51 % across, 50 % down" in page.locator("#marking-said").inner_text()
    press(page, "ArrowRight", "Enter")
    assert "without an inside" in page.locator("#marking-said").inner_text()
    press(page, "ArrowDown", "Enter", "Escape")
    assert page.locator("#marking").is_hidden()
    assert page.locator("#f1 .spots li").count() == 1


def test_a_change_can_be_asked_for_where_it_is_seen(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS, **PHONE)
    page.locator("#f1-2 .open").tap()
    page.get_by_role("button", name="Mark a change").tap()
    decoded(page, "#marking")
    assert page.locator("#marking-name").inner_text() == "Frame 1, partner/final: what should change?"
    page.get_by_text("a point", exact=True).tap()
    finger(page, inside(page.locator("#marking img"), 0.5, 0.5))
    page.get_by_role("button", name="Done").tap()
    own = page.locator("#f1-2 .answer")
    assert own.get_by_label("Change").is_checked()
    assert page.locator("#f1 .beside > .answer").get_by_label("Change").is_checked() is False
    assert page.locator("#f1-2 .print .drawn").count() == 1


# --- Back ------------------------------------------------------------------------------------------------------------


def is_open(page: Page) -> list[str]:
    return page.locator("dialog[open]").evaluate_all("all => all.map(one => one.id)")  # type: ignore[no-any-return]


def settled(page: Page) -> None:
    """Wait until the browser has gone where its history was sent."""
    page.wait_for_function("() => history.state === null")
    page.wait_for_timeout(50)


def arrived(page: Page, sheet: Path) -> Page:
    """Open the sheet from another page, to which Back would lead."""
    elsewhere = page.url
    page.goto(sheet.as_uri())
    assert page.url != elsewhere
    return page


@pytest.mark.parametrize("device", [PHONE, {}], ids=["phone", "laptop"])
def test_back_closes_the_viewer_and_the_page_stays(shown: Path, open_page: OpenPage, device: dict[str, Any]) -> None:
    """As a phone's gesture does it: one step back in the history. Answers stay, here and on another page and back."""
    page = arrived(open_page(shown / HERS, **device), shown / PARTNERS)
    page.locator("#f2 .beside .answer").get_by_text("Approve").click()
    print_ = page.locator("#f2-1 .open")
    if device:
        print_.tap()
    else:
        print_.focus()
        press(page, "Enter")
    decoded(page, "#viewer")
    assert is_open(page) == ["viewer"]
    page.locator("#viewer-next").click()
    page.go_back()
    assert is_open(page) == []
    assert page.locator("#f2-2 .open").evaluate("one => one === document.activeElement")
    assert page.url == (shown / PARTNERS).as_uri()
    assert page.locator("#f2 .beside .answer").get_by_label("Approve").is_checked()
    # With nothing open Back leaves the page, in one step; the answers are there when the reader comes again.
    page.go_back()
    assert page.url == (shown / HERS).as_uri()
    page.go_forward()
    page.locator("#f2 .beside .answer").get_by_label("Approve").wait_for()
    assert page.locator("#f2 .beside .answer").get_by_label("Approve").is_checked()
    assert page.locator("#open-count").inner_text() == "2 of 3 open"


@pytest.mark.parametrize("close", ["Escape", "button"])
def test_a_panel_closed_by_hand_leaves_no_step_behind(shown: Path, open_page: OpenPage, close: str) -> None:
    page = arrived(open_page(shown / HERS), shown / PARTNERS)
    for _ in range(3):  # also when it is opened again before the browser has gone back
        page.locator("#f1-1 .open").click()
        if close == "Escape":
            press(page, "Escape")
        else:
            page.locator("#viewer-close").click()
        assert is_open(page) == []
    page.locator("#f1-1 .open").click()
    page.wait_for_timeout(100)
    assert is_open(page) == ["viewer"]
    press(page, "End", "Escape")
    settled(page)
    # Going back has not scrolled the page to where it was when the first picture was opened.
    last = page.locator("#f3-1 .open")
    assert last.evaluate("one => one === document.activeElement")
    box = last.bounding_box()
    assert box is not None
    assert -box["height"] < box["y"] < 900
    page.go_back()
    assert page.url == (shown / HERS).as_uri()


def test_back_from_marking_keeps_the_marks(shown: Path, open_page: OpenPage) -> None:
    page = arrived(open_page(shown / HERS, **PHONE), shown / PARTNERS)
    page.locator("#f1-1 .open").tap()
    decoded(page, "#viewer")
    page.get_by_role("button", name="Mark a change").tap()
    decoded(page, "#marking")
    assert is_open(page) == ["marking"]
    picture = page.locator("#marking img")
    box = picture.bounding_box()
    assert box is not None
    assert 0 <= box["x"] < box["x"] + box["width"] <= 390  # a long name makes the panel no wider than the phone
    assert page.locator("#marking").evaluate("one => one.scrollWidth") == 390
    finger(page, *(inside(picture, *at) for at in ((0.2, 0.2), (0.4, 0.4), (0.6, 0.7))))
    finger(page, inside(picture, 0.1, 0.1))  # one corner of another box: what is not finished is let go
    page.go_back()
    assert is_open(page) == []
    assert page.url == (shown / PARTNERS).as_uri()
    assert texts(page.locator("#f1-1 .spots li")) == ["1. A box, 20 % to 60 % across, 20 % to 70 % down Take back"]
    page.go_back()
    page.go_forward()
    assert texts(page.locator("#f1-1 .spots li")) == ["1. A box, 20 % to 60 % across, 20 % to 70 % down Take back"]


def test_a_page_loaded_anew_under_an_open_panel_has_no_step_too_many(shown: Path, open_page: OpenPage) -> None:
    page = arrived(open_page(shown / HERS), shown / PARTNERS)
    page.locator("#f1-1 .open").click()
    page.reload()
    settled(page)
    assert is_open(page) == []
    page.go_back()
    assert page.url == (shown / HERS).as_uri()
