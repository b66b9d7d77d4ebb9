"""Answers: kept, taken back, cleared, carried over; what is open is said, and only what is chosen is shown."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from tests.browser.hands import press
from tests.deliver.sheet.real_shoot import draw_frame, run, write_reply

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Locator, Page

    from tests.browser.conftest import OpenPage


HERS, PARTNERS = "index.html", "for-partner/index.html"


def answer(page: Page, frame: str) -> Locator:
    return page.locator(f"{frame} .beside > .answer")


def ticked(page: Page, frame: str) -> list[str]:
    return answer(page, frame).locator("input:checked").evaluate_all("all => all.map(one => one.value)")  # type: ignore[no-any-return]


def test_answers_outlast_the_page_until_they_are_cleared(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    answer(page, "#f1").get_by_label("Change").check()
    answer(page, "#f1").get_by_role("textbox").fill("A line\nand another")
    page.locator("#f1-2 .alone").click()
    page.locator("#f1-2 .answer").get_by_label("Approve").check()
    page.locator("#reviewer").fill("Mara")
    page.reload()
    assert ticked(page, "#f1") == ["change"]
    assert answer(page, "#f1").get_by_role("textbox").input_value() == "A line\nand another"
    assert page.locator("#f1-2 .answer").get_by_label("Approve").is_checked()
    assert page.locator("#reviewer").input_value() == "Mara"
    assert page.locator(".contents .said").all_inner_texts() == ["Change", "open", "open"]
    page.get_by_role("button", name="Clear all answers").click()
    assert ticked(page, "#f1") == []
    page.get_by_role("button", name="Undo").click()
    assert ticked(page, "#f1") == ["change"]
    page.get_by_role("button", name="Clear all answers").click()
    page.reload()
    assert page.locator("#open-count").inner_text() == "3 of 3 open"


def test_every_step_can_be_taken_back(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    assert page.locator("#undo").is_disabled()
    answer(page, "#f1").get_by_label("Approve").check()
    answer(page, "#f1").get_by_label("Change").check()
    answer(page, "#f1").get_by_role("textbox").press_sequentially("spoon")
    answer(page, "#f1").get_by_role("button", name="Clear this answer").click()
    assert ticked(page, "#f1") == []
    press(page, "Control+z")
    assert (ticked(page, "#f1"), answer(page, "#f1").get_by_role("textbox").input_value()) == (["change"], "spoon")
    page.locator("#undo").click()  # all that was typed in one go
    assert answer(page, "#f1").get_by_role("textbox").input_value() == ""
    page.locator("#undo").click()
    assert ticked(page, "#f1") == ["approve"]
    page.locator("#undo").click()
    assert ticked(page, "#f1") == []
    assert page.locator("#undo").is_disabled()
    answer(page, "#f1").get_by_label("Change").check()
    note = answer(page, "#f1").get_by_role("textbox")
    note.press_sequentially("typed")
    press(page, "Control+z")  # in a text the browser's own undo is meant
    assert ticked(page, "#f1") == ["change"]


def test_what_is_still_open_is_said_and_led_to(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    answer(page, "#f1").get_by_label("Approve").check()
    assert page.locator("#aloud").inner_text() == "Frame 1: Approve. 2 of 3 frames are open."
    assert page.locator("#still-open").inner_text() == "Still open: 2, 3. You can send it as it is."
    page.locator("#next-open").click()
    assert answer(page, "#f2").locator("input").first.evaluate("one => one === document.activeElement")
    for card in ("#f2-1", "#f2-2"):  # a frame is answered too where each of its prints is
        page.locator(f"{card} .alone").click()
        page.locator(f"{card} .answer").get_by_label("Approve").check()
    assert page.locator("#open-count").inner_text() == "1 of 3 open"
    assert page.locator(".contents .said").all_inner_texts() == ["Approve", "answered print by print", "open"]
    page.locator("#f2-1 .answer").get_by_role("button", name="Clear this answer").click()
    assert page.locator("#f2-1 .answer").count() == 0
    assert page.locator("#f2-1 .alone").evaluate("one => one === document.activeElement")
    assert page.locator("#open-count").inner_text() == "2 of 3 open"


def test_what_is_broken_in_the_storage_is_left_out(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    kept = {
        "answers": {
            "beans": {"verdict": "burn", "note": 7, "spots": [[0.5], [2, 3], [0.1, 0.2], "x"]},
            "bread": {"verdict": "approve"},
            "nobody": {"verdict": "approve"},
            "__proto__": {"verdict": "approve"},
        },
        "reviewer": 8,
    }
    name = page.evaluate("() => `plateline reply ${JSON.parse(document.getElementById('round').textContent).round}`")
    for text in (json.dumps(kept), "{", "null", '"words"'):
        page.evaluate("([name, text]) => localStorage.setItem(name, text)", [name, text])
        page.reload()
        assert ticked(page, "#f3") == []
        assert ticked(page, "#f2") == (["approve"] if text.startswith('{"') else [])
        assert page.locator("#reviewer").input_value() == ""


def test_frames_are_chosen_by_outlet_view_and_answer(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / HERS)
    answer(page, "#f2").get_by_label("Approve").check()

    def seen() -> list[str]:
        return [one.get_attribute("data-frame") or "" for one in page.locator("main > .frame:visible").all()]

    everything = ["bowl-from-above", "bread", "beans", "linen"]
    assert seen() == everything
    page.get_by_label("Outlet").select_option("partner")
    assert seen() == ["bowl-from-above", "bread", "beans"]
    assert page.locator("#f1 section[data-outlet]:visible").count() == 1
    page.get_by_label("View").select_option("Straight on")
    assert seen() == ["bread", "beans"]
    page.locator("#by-answer").select_option("open")
    assert seen() == ["beans"]
    assert page.locator("#found").inner_text() == "1 of 4 frames"
    answer(page, "#f3").get_by_label("Leave out").check()
    assert seen() == ["beans"]  # nothing goes away under one's hands
    page.locator("#f3 .whole .open").click()  # and what is hidden is not stepped to
    press(page, "End")
    assert page.locator("#viewer-name").inner_text() == "3 Beans, partner/proof"
    press(page, "Escape")
    page.locator("#next-open").click()
    assert seen() == everything


def test_a_reply_needs_a_name(shown: Path, open_page: OpenPage) -> None:
    page = open_page(shown / PARTNERS)
    page.get_by_role("button", name="Save reply").click()
    assert page.locator("#told").inner_text() == "Write your name first: a reply is from somebody."
    assert page.locator("#reviewer").evaluate("one => one === document.activeElement && one.ariaInvalid") == "true"


def test_what_stands_is_carried_over_until_it_is_said_otherwise(job: Path, open_page: OpenPage) -> None:
    sheet = job.parent / "out" / "sheet" / "for-partner" / "index.html"
    asked = {"bowl-from-above": ("approve", ""), "bread": ("change", "Less crust"), "beans": ("leave-out", "Too dark")}
    assert run("reply", job, write_reply(sheet, job.parent / "reply.json", asked)) == 0
    draw_frame(job.parent / "inner-drawer" / "DSC04711.jpg", 6)
    assert run("sheet", job, "--for", "partner") == 0
    page = open_page(sheet)
    assert [ticked(page, frame) for frame in ("#f1", "#f2", "#f3")] == [[], ["change"], ["leave-out"]]
    bread = answer(page, "#f2")
    assert bread.locator(".carried").inner_text().startswith("Carried over")
    assert bread.get_by_role("textbox").input_value() == "Less crust"
    assert bread.locator(".spots li").count() == 2
    assert page.locator("#f2 .whole .drawn rect.spot").count() == 1
    bread.get_by_label("Approve").check()
    assert bread.locator(".carried").is_hidden()
    press(page, "Control+z")
    assert ticked(page, "#f2") == ["change"]
    assert bread.locator(".carried").is_visible()
