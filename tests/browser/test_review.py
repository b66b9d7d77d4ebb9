"""The whole way of a reply: opened, looked at, answered, saved, taken in, followed, and seen in the next round."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.review.reply_file import read_json
from tests.browser.conftest import PHONE
from tests.browser.hands import finger, inside, press, tab_to, texts
from tests.deliver.sheet.real_shoot import draw_frame, files_below, run

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Page

    from tests.browser.conftest import Heard, OpenPage


PARTNERS = "out/sheet/for-partner/index.html"


def saved(page: Page, folder: Path, press_save: Any) -> tuple[Path, dict[str, Any]]:  # noqa: ANN401 (a callable)
    """Save the reply as a real download; return the file and what is in it."""
    with page.expect_download() as waiting:
        press_save()
    file = folder / waiting.value.suggested_filename
    waiting.value.save_as(file)
    reply: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    assert not isinstance(read_json(file.read_text(encoding="utf-8"), file.name), list)  # the project's own schema
    return file, reply


def finals(job: Path) -> list[str]:
    return sorted(file.name for file in files_below(job.parent / "out" / "partner") if "-final-" in file.name)


def push_to_right_end(page: Page) -> None:
    """Move the picture in the viewer to its right end, and wait until nothing of an earlier push moves it any more."""
    page.evaluate("() => { window.calm = 0; }")
    page.wait_for_function(
        """() => {
          const stage = document.getElementById("viewer-stage");
          const isThere = stage.scrollLeft >= stage.scrollWidth - stage.clientWidth - 1;
          window.calm = isThere ? window.calm + 1 : 0;
          stage.scrollTo(10000, 0);
          return window.calm > 10;
        }"""
    )


def test_the_whole_way_with_the_keyboard_alone(job: Path, open_page: OpenPage, tmp_path: Path) -> None:
    page = open_page(job.parent / PARTNERS)
    # Look at the first proof at 100 %: one of its pixels is one of the screen's.
    tab_to(page, "#f1-1 .open")
    press(page, "Enter")
    image = page.locator("#viewer img")
    image.wait_for()
    assert image.evaluate("one => one.decode().then(() => [one.naturalWidth, one.clientWidth])") == [960, 960]
    press(page, "ArrowRight", "ArrowLeft", "Escape")
    assert page.locator("#f1-1 .open").evaluate("one => one === document.activeElement")
    # The first frame is to be changed: a note, and a box drawn with the arrow keys.
    tab_to(page, "#f1 input[type=radio]", back=True)
    press(page, "Space", "ArrowRight")
    assert page.locator("#f1 .answer").get_by_label("Change").is_checked()
    tab_to(page, "#f1 textarea")
    page.keyboard.type("Could the spoon be out?")
    tab_to(page, "#f1 .mark")
    press(page, "Enter", "ArrowLeft*20", "ArrowUp*10", "Enter")
    assert "One corner is set, 30 % across, 40 % down" in page.locator("#marking-said").inner_text()
    press(page, "Shift+ArrowRight*6", "Shift+ArrowDown*9", "Enter")
    assert "A box, 30 % to 60 % across, 40 % to 85 % down" in page.locator("#marking-said").inner_text()
    tab_to(page, "#marking-done")
    press(page, "Enter")
    assert page.locator("#f1 .mark").evaluate("one => one === document.activeElement")
    # The second is approved, of the third the proof is left out.
    tab_to(page, "#f2 input[type=radio]")
    press(page, "Space")
    assert page.locator("#open-count").inner_text() == "1 of 3 open"
    tab_to(page, "#f3 input[type=radio]")
    press(page, "Space", "ArrowRight", "ArrowRight")
    assert page.locator("#still-open").inner_text() == "Every frame is answered."
    tab_to(page, "#reviewer")
    page.keyboard.type("Mara Feldt")
    tab_to(page, "#save")
    file, reply = saved(page, tmp_path, lambda: press(page, "Enter"))
    assert file.name == "reply-round-1-mara-feldt.json"
    said = {one["frame"]: (one["verdict"], one["note"], one["spots"]) for one in reply["frames"]}
    assert said == {
        "bowl-from-above": ("change", "Could the spoon be out?", [{"box": [0.3, 0.4, 0.6, 0.85]}]),
        "bread": ("approve", "", []),
        "beans": ("leave-out", "", []),
    }
    # Taken in, the approved final is made and no other; then the frame is changed, and shown once more.
    assert run("reply", job, file) == 0
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bread"]
    draw_frame(job.parent / "inner-drawer" / "DSC04711.jpg", 7)
    assert run("export", job) == 0
    assert run("sheet", job, "--for", "partner") == 0
    page = open_page(job.parent / PARTNERS)
    assert "round 2" in page.title()
    assert page.locator("#open-count").inner_text() == "1 of 3 open"
    bowl = page.locator("#f1 .beside .earlier").first
    assert "Change, Could the spoon be out? (Mara Feldt, " in bowl.inner_text()
    loaded = "all => Promise.all(all.map(one => one.decode().then(() => one.naturalWidth)))"
    assert bowl.locator("img").evaluate_all(loaded) == [800, 800]
    for frame, word in (("#f2", "Approve"), ("#f3", "Leave out")):
        box = page.locator(f"{frame} .beside > .answer")
        assert box.get_by_label(word).is_checked()
        assert box.locator(".carried").is_visible()
    tab_to(page, "#next-open")
    press(page, "Enter")
    assert page.locator("#f1 .answer input").first.evaluate("one => one === document.activeElement")
    press(page, "Space")
    tab_to(page, "#reviewer")
    page.keyboard.type("Mara Feldt")
    tab_to(page, "#save")
    file, reply = saved(page, tmp_path, lambda: press(page, "Enter"))
    assert [one["verdict"] for one in reply["frames"]] == ["approve", "approve", "leave-out"]
    assert run("reply", job, file) == 0
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bowl-from-above", "soup-bread"]


def test_the_whole_way_with_fingers_on_a_phone(job: Path, open_page: OpenPage, tmp_path: Path) -> None:
    page = open_page(job.parent / PARTNERS, **PHONE)
    assert page.evaluate("() => document.documentElement.scrollWidth") == 390
    page.locator("#f1-1 .open").tap()
    image = page.locator("#viewer img")
    assert image.evaluate("one => one.decode().then(() => one.clientWidth)") == 960
    stage = page.locator("#viewer-stage")
    # Pushed to its right end, the picture stays; a swipe from there goes on to the next.
    push_to_right_end(page)
    name = page.locator("#viewer-name").inner_text()
    finger(page, inside(stage, 0.3, 0.5), inside(stage, 0.5, 0.5), inside(stage, 0.9, 0.5))
    assert page.locator("#viewer-name").inner_text() == name
    push_to_right_end(page)
    finger(page, inside(stage, 0.9, 0.5), inside(stage, 0.5, 0.5), inside(stage, 0.2, 0.5))
    assert page.locator("#viewer-name").inner_text() == "1 Bowl from above, partner/final"
    page.get_by_role("button", name="Previous").tap()
    page.get_by_role("button", name="On a phone").tap()
    assert image.evaluate("one => one.decode().then(() => one.clientWidth)") == 390
    page.get_by_role("button", name="Close").tap()
    box = page.locator("#f1 .beside > .answer")
    box.get_by_text("Change").tap()
    box.get_by_role("textbox").fill("Could the spoon be out?")
    box.get_by_role("button", name="Mark it on the picture").tap()
    picture = page.locator("#marking img")
    picture.evaluate("one => one.decode()")
    finger(page, *(inside(picture, *at) for at in ((0.31, 0.3), (0.4, 0.5), (0.62, 0.8))))
    page.get_by_text("a point", exact=True).tap()
    page.locator("[name=tool][value=point]:checked").wait_for()
    finger(page, inside(picture, 0.5, 0.5))
    page.get_by_role("button", name="Done").tap()
    assert texts(page.locator("#f1 .beside .spots li")) == [
        "1. A box, 31 % to 62 % across, 30 % to 80 % down Take back",
        "2. A point, 50 % across, 50 % down Take back",
    ]
    page.locator("#f2 .beside > .answer").get_by_text("Approve").tap()
    page.locator("#f3 .beside > .answer").get_by_text("Leave out").tap()
    page.locator("#reviewer").fill("Jö Tàn")
    file, reply = saved(page, tmp_path, lambda: page.get_by_role("button", name="Save reply").tap())
    assert file.name == "reply-round-1-jo-tan.json"
    spots = reply["frames"][0]["spots"]
    assert spots[0]["box"] == pytest.approx([0.31, 0.3, 0.62, 0.8], abs=0.006)  # a finger is put down on whole pixels
    assert spots[1]["point"] == pytest.approx([0.5, 0.5], abs=0.006)
    assert run("reply", job, file) == 0
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bread"]
    # What was asked is done; the next round shows it beside the last one.
    draw_frame(job.parent / "inner-drawer" / "DSC04711.jpg", 7)
    assert run("export", job) == 0
    assert run("sheet", job, "--for", "partner") == 0
    page = open_page(job.parent / PARTNERS, **PHONE)
    assert "round 2" in page.title()
    assert page.evaluate("() => document.documentElement.scrollWidth") == 390
    assert page.locator("#open-count").inner_text() == "1 of 3 open"
    bar = page.locator(".bar").bounding_box()
    assert bar is not None
    assert bar["height"] < 60  # one line: the pictures need the room
    page.locator("#next-open").tap()
    before, now = page.locator("#f1 .beside .pair figure").all()
    assert [texts(one.locator("figcaption")) for one in (before, now)] == [["then"], ["now"]]
    for one in (before, now):
        assert one.locator("img").evaluate("one => one.decode().then(() => one.naturalWidth)") == 800
    # Wide frames stand under each other, each as wide as the page lets it be, and both on one screen.
    upper, lower = before.bounding_box(), now.bounding_box()
    assert upper is not None
    assert lower is not None
    assert upper["x"] == lower["x"]
    assert upper["width"] == lower["width"] > 340
    assert upper["y"] + upper["height"] <= lower["y"]
    assert lower["y"] + lower["height"] - upper["y"] < 600
    asked = page.locator("#f1 .beside .earlier").first
    assert "Change, Could the spoon be out? (Jö Tàn, " in " ".join(asked.inner_text().split())
    drawn = before.locator("path.spot").bounding_box()  # what was marked is drawn on the print it was marked on
    print_ = before.locator("img").bounding_box()
    assert drawn is not None
    assert print_ is not None
    middle = (drawn["x"] + drawn["width"] / 2 - print_["x"]) / print_["width"]
    assert middle == pytest.approx((0.31 + 0.62) / 2, abs=0.01)
    assert drawn["width"] / print_["width"] == pytest.approx(0.31, abs=0.03)  # with the width of its line
    assert now.locator(".spot").count() == 0
    for frame, word in (("#f2", "Approve"), ("#f3", "Leave out")):
        box = page.locator(f"{frame} .beside > .answer")
        assert box.get_by_label(word).is_checked()
        assert box.locator(".carried").is_visible()
    page.locator("#f1 .beside > .answer").get_by_text("Approve").tap()
    assert page.locator("#open-count").inner_text() == "0 of 3 open"
    page.locator(".bar").get_by_role("link", name="Reply").tap()
    page.locator("#reviewer").fill("Jö Tàn")
    file, reply = saved(page, tmp_path, lambda: page.get_by_role("button", name="Save reply").tap())
    assert file.name == "reply-round-2-jo-tan.json"
    assert [one["verdict"] for one in reply["frames"]] == ["approve", "approve", "leave-out"]
    assert run("reply", job, file) == 0
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bowl-from-above", "soup-bread"]


REFUSED = (
    "Object.defineProperty(window, 'localStorage', { get() { throw new DOMException('denied', 'SecurityError'); } });"
)


def test_the_mailed_file_works_from_disk_where_nothing_is_kept(job: Path, open_page: OpenPage, tmp_path: Path) -> None:
    """Storage is refused as a browser refuses it: reading the property itself raises (HTML Living Standard, 12.2.3)."""
    page = open_page(job.parent / "out/sheet/for-partner.single.html", script=REFUSED)
    assert "keeps nothing for this page" in page.locator("#kept").inner_text()
    page.locator("#f1-1 .open").click()
    assert page.locator("#viewer [data-size=full]").is_hidden()
    assert "this page carries the small print alone" in page.locator("#viewer-size").inner_text()
    assert page.locator("#viewer img").evaluate("one => one.decode().then(() => one.naturalWidth)") == 640
    page.keyboard.press("Escape")
    for frame, word in (("#f1", "Approve"), ("#f2", "Approve"), ("#f3", "Leave out")):
        page.locator(f"{frame} .beside > .answer").get_by_label(word).check()
    page.locator("#reviewer").fill("Mara Feldt")
    file, _ = saved(page, tmp_path, page.get_by_role("button", name="Save reply").click)
    assert run("reply", job, file) == 0
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bowl-from-above", "soup-bread"]


def test_a_preview_that_allows_neither_storage_nor_downloads_still_gives_the_text(
    job: Path, open_page: OpenPage, heard: Heard, tmp_path: Path
) -> None:
    """A sandboxed frame, as mail programs show a file in: an opaque origin, no downloads, no clipboard."""
    wrapper = tmp_path / "mail.html"
    single = (job.parent / "out/sheet/for-partner.single.html").as_uri()
    wrapper.write_text(
        f'<!DOCTYPE html><iframe sandbox="allow-scripts" width="1200" height="800" src="{single}"></iframe>',
        encoding="utf-8",
    )
    page = open_page(wrapper)
    frame = page.frame_locator("iframe")
    assert "keeps nothing for this page" in frame.locator("#kept").inner_text()
    frame.locator("#f2 .beside > .answer").get_by_label("Approve").check()
    frame.locator("#f1 .beside > .answer").get_by_label("Change").check()
    frame.locator("#f1 textarea").fill("Less spoon.\n\nMore basil, please: a “whole” leaf.")
    frame.locator("#reviewer").fill("Mara Feldt")
    frame.get_by_role("button", name="Copy reply as text").click()
    assert "The text below is selected" in frame.locator("#told").inner_text()
    [told] = heard.console  # the browser says so as well, and that alone
    assert "The Clipboard API has been blocked" in told
    heard.console.clear()
    text = frame.locator("#text").evaluate("one => one.value.slice(one.selectionStart, one.selectionEnd)")
    mail = tmp_path / "mail.txt"
    mail.write_text(
        "Dear Ines,\n\n" + "".join(f"> {line}\n" for line in text.splitlines()) + "\nBest, Mara\n", encoding="utf-8"
    )
    assert run("reply", job, mail) == 0
    [kept] = (job.parent / "replies").iterdir()
    reply = json.loads(kept.read_text(encoding="utf-8"))
    assert reply["frames"][0]["note"] == "Less spoon.\nMore basil, please: a “whole” leaf."
    assert run("export", job) == 0
    assert [name.partition("-final-")[0] for name in finals(job)] == ["soup-bread"]
