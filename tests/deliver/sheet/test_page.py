"""The contact sheet as a page: everything of the plan is on it, in words, once, and it follows the HTML standard."""

from __future__ import annotations

import itertools
import re
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

import pytest

from pipeline.deliver.sheet.card import NOT_YET
from pipeline.deliver.sheet.page import MOST_LISTED, sheet_html
from pipeline.deliver.sheet.words import landing
from pipeline.light.box import WHOLE, Region, Size
from pipeline.plan.facts import PictureFacts
from pipeline.plan.rendition import Approval, Output
from tests.deliver.sheet.many import all_made, many_frames, review_of_plan
from tests.deliver.sheet.sheet_shoot import (
    FACTS,
    HERO,
    PAGE,
    PLAN,
    POSTER,
    SQUARE,
    articles,
    below_output,
    card_of,
    file_links,
    frame,
    html_of,
    made_all,
    page_of,
    parsed,
    rows_of,
    sides,
    with_class,
    words,
)

if TYPE_CHECKING:
    from pipeline.plan.rendition import Plan, Rendition


def one_frame(*renditions: Rendition) -> Plan:
    return replace(PLAN, frames=(frame(renditions=renditions),))


def test_page_follows_the_html_standard() -> None:
    page = page_of(PLAN, made_all(PLAN))
    assert page.tag == "html"
    assert page.get("lang") == "en"
    assert len(list(page.iter("h1"))) == 1
    levels = [int(element.tag[1]) for element in page.iter() if re.fullmatch(r"h[1-6]", str(element.tag))]
    assert all(below - above <= 1 for above, below in itertools.pairwise(levels))
    ids = [element.get("id") for element in page.iter() if element.get("id")]
    assert len(ids) == len(set(ids))


def test_page_of_a_plan_without_frames_stands() -> None:
    assert "Tomato soup" in words(page_of(replace(PLAN, frames=(), date=None, credit_line=None)))


def test_same_plan_gives_the_same_page() -> None:
    assert html_of(PLAN, made_all(PLAN)) == html_of(PLAN, made_all(PLAN))


def test_three_hundred_frames_are_under_three_megabytes() -> None:
    """The sample's frames over and over, about 960 renditions and 2200 files; the pictures are beside the page."""
    plan = many_frames(300)
    page = sheet_html(plan, all_made(plan), review_of_plan(plan)).encode()
    assert len(plan.frames) == 300
    assert len(plan.renditions) > 900
    assert len(page) < 3_000_000
    assert page.count(b"<article") == 300
    assert page.count(b'loading="lazy"') == page.count(b"<img") - 1  # all but the first frame's


# --- what is on it ---------------------------------------------------------------------------------------------------


def test_every_rendition_is_shown_with_its_files() -> None:
    page = page_of(PLAN, made_all(PLAN))
    for shown, article in zip(PLAN.frames, articles(page), strict=True):
        for rendition in shown.renditions:
            text = words(card_of(article, rendition))
            assert rendition.about in text
            assert rendition.target in text
            assert landing(rendition.crop, rendition.trim) in text
            for output in rendition.outputs:
                assert f"{output.size.width} × {output.size.height}" in text  # noqa: RUF001 (as it is set)
                assert output.format.upper() in text
            assert len(rendition.outputs) == text.count("84 kB")


def test_only_file_of_a_rendition_stands_in_its_docket() -> None:
    alone = replace(SQUARE, outputs=SQUARE.outputs[:1])
    card = card_of(page_of(one_frame(alone), made_all(one_frame(alone))), alone)
    assert list(card.iter("table")) == []
    assert rows_of(with_class(card, "docket")[0])["JPEG"] == "1600 × 900, 84 kB"  # noqa: RUF001 (as it is set)


def test_every_caution_and_refusal_is_shown_where_it_belongs() -> None:
    page = page_of()
    refused = card_of(page, POSTER)
    assert [words(item) for item in with_class(refused, "refusal")] == ["Refused too small: 131 ppi, 240 wanted"]
    assert list(refused.iter("img")) == []
    cautioned = with_class(card_of(page, HERO), "caution")
    assert [[words(li) for li in box.iter("li")] for box in cautioned] == [["the crop is tight", "the anchor is near"]]
    for article in articles(page):
        beside = next(iter(with_class(article, "beside")))
        assert [words(item) for item in with_class(beside, "caution")] == ["Caution no ICC profile: taken as sRGB"]


def test_head_counts_what_is_planned_and_what_is_made() -> None:
    some = dict(list(made_all(PLAN).items())[:3])
    page = page_of(PLAN, some)
    assert {
        "Round": "1 (abababab)",
        "Frames": "2",
        "Renditions": "4",
        "Refused": "1",
        "Files": f"3 of {len(PLAN.renditions[0].outputs) + 2 + 2 + 2} made",
        "Weight": "252 kB",
        "Cautions": "4",
        "Job": "job.toml",
        "Credit": "Ada Example / kitchen.example",
    } == rows_of(next(iter(with_class(page, "ticket"))))
    assert [time.get("datetime") for time in page.iter("time")] == ["2026-09-12"]


def test_contents_name_every_frame_and_lead_to_it() -> None:
    page = page_of()
    links = list(next(page.iter("nav")).iter("a"))
    assert [article.get("id") for article in articles(page)] == [link.get("href", "")[1:] for link in links]
    assert [f"{n} A bowl of soup" for n in (1, 2)] == [words(link) for link in links]


def test_a_long_list_of_frames_is_folded_and_targets_are_described_once() -> None:
    for count, is_open in ((MOST_LISTED, True), (MOST_LISTED + 1, False)):
        plan = replace(PLAN, frames=tuple(frame(f"bowl-{n}", renditions=(SQUARE,)) for n in range(count)))
        page = page_of(plan)
        [list_of_frames] = page.iter("details")
        assert is_open == (list_of_frames.get("open") is not None)
        assert words(page).count(SQUARE.about) == (count if is_open else 1)


def test_frame_without_a_title_of_its_own_is_named_by_its_slug() -> None:
    for title in (None, PLAN.title):
        shown = replace(frame(), facts=replace(FACTS, title=title))
        assert [words(h2) for h2 in articles(page_of(replace(PLAN, frames=(shown,))))[0].iter("h2")] == [
            "1 Bowl from above"
        ]


def test_words_of_the_frame_are_shown() -> None:
    text = words(articles(page_of(replace(PLAN, frames=(frame(),))))[0])
    for part in (
        *(FACTS.alt, FACTS.description, FACTS.credit_line, FACTS.copyright, FACTS.licence_url, FACTS.usage_terms),
        *("selects/bowl-from-above.tif", "overhead", "step 3", "TIFF, 16 bit", "f/8 · 1/125 s · ISO 100 · 50 mm"),
        *("Ottar K1, Ottar 50 mm", "taken 12 September 2026, 10:24"),
    ):
        assert part is not None
        assert part in text


def test_terms_that_are_the_same_for_every_frame_are_said_once() -> None:
    other = replace(frame("bread"), facts=replace(FACTS, copyright="2026 Bo Example"))
    page = page_of(replace(PLAN, frames=(frame(), other)))
    [every] = [element for element in page.iter("section") if element.get("aria-labelledby") == "every"]
    assert set(rows_of(with_class(every, "facts")[0])) == {"Credit", "Licence", "Terms", "To license"}
    shown = [rows_of(with_class(article, "facts")[0]) for article in articles(page)]
    assert [rows.get("Copyright") for rows in shown] == ["2026 Ada Example", "2026 Bo Example"]
    assert [rows.get("Credit") for rows in shown] == [None, None]


def test_missing_words_are_said_to_be_missing() -> None:
    bare = replace(frame(), facts=PictureFacts(language="en"))
    article = articles(page_of(replace(PLAN, frames=(bare,))))[0]
    facts = rows_of(next(iter(with_class(article, "facts"))))
    wanted = {
        "Alt text": "not written yet",
        "Caption": "not written yet",
        "Credit": "not written yet",
        "Licence": "no address given",
    }
    assert wanted == {label: facts[label] for label in wanted}
    alt = next(article.iter("img")).get("alt")
    assert alt == "Frame 1; its alt text is not written yet"  # [WCAG] F30: a file name would be no alternative


def test_decorative_frame_has_an_empty_alternative() -> None:
    shown = replace(frame(), facts=replace(FACTS, alt="", decorative=True))
    article = articles(page_of(replace(PLAN, frames=(shown,))))[0]
    assert next(article.iter("img")).get("alt") == ""
    assert "left empty on purpose" in words(article)


def test_words_carry_their_language() -> None:
    shown = replace(frame(), facts=replace(FACTS, language="de", alt="Eine Schale Suppe."))
    page = page_of(replace(PLAN, language="de", title="Tomatensuppe", frames=(shown,)))
    assert [h1.get("lang") for h1 in page.iter("h1")] == ["de"]
    assert [dd.get("lang") for dd in page.iter("dd") if words(dd) == "Eine Schale Suppe."] == ["de"]
    assert next(page.iter("img")).get("lang") == "de"


def test_share_outside_the_space_is_the_largest_measured() -> None:
    paths = [output.path for output in HERO.outputs]
    made = made_all(PLAN, outside=None)
    assert f"sRGB, {NOT_YET}" in words(card_of(page_of(PLAN, made), HERO))
    assert f"sRGB, {NOT_YET}" in words(card_of(page_of(), HERO))
    for shares, said in (
        ((0.002, 0.034), "3.4 % outside sRGB"),
        ((0.0, 0.0), "nothing outside sRGB"),
        ((0.0, 0.0004), "under 0.1 % outside sRGB"),
        ((0.125, 0.0), "12 % outside sRGB"),
    ):
        known = {path: replace(made[path], outside_gamut=share) for path, share in zip(paths, shares, strict=False)}
        assert said in words(card_of(page_of(PLAN, made | known), HERO))


def test_paper_is_given_in_ppi_and_millimetres() -> None:
    """ISO 216: A4 is 210 x 297 mm; with 3 mm of bleed 216 x 303, at 300 ppi 2551 x 3579 pixels."""
    a4 = replace(PAGE, outputs=(Output(Size(2551, 3579), "tiff", "print/a4.tif", 300.0),))
    page = page_of(one_frame(a4, SQUARE))
    assert "Paper 301 ppi, 216 × 303 mm" in words(card_of(page, a4))  # noqa: RUF001 (as it is set)
    assert "Paper" not in words(card_of(page, SQUARE))


@pytest.mark.parametrize(
    ("free", "said"),
    [
        ((WHOLE,), None),
        ((Region(0, 0.14, 1, 0.8),), "top 14 %, bottom 20 %"),
        ((Region(0.06, 0, 0.98, 1),), "right 2 %, left 6 %"),
        ((Region(0, 0, 0.8, 1), Region(0, 0, 1, 0.84)), "the part that will be covered"),
    ],
)
def test_parts_that_something_covers_are_said(free: tuple[Region, ...], said: str | None) -> None:
    rendition = replace(SQUARE, free=free)
    card = card_of(page_of(one_frame(rendition)), rendition)
    assert said == rows_of(next(iter(with_class(card, "docket")))).get("Keep off")


def test_keep_box_that_is_partly_lost_is_said() -> None:
    rendition = replace(SQUARE, crop=replace(SQUARE.crop, keep_lost=0.12))
    assert "Keep box 12 % of it lost" in words(card_of(page_of(one_frame(rendition)), rendition))


def test_approval_is_said() -> None:
    waiting = replace(SQUARE, needs_approval=True)
    approved = replace(waiting, approvals=(Approval("Mara Feldt", "2026-11-25", "ab" * 32),))
    for rendition, said in (
        (SQUARE, None),
        (waiting, "waits for approval"),
        (approved, "approved by Mara Feldt (2026-11-25)"),
    ):
        card = card_of(page_of(one_frame(rendition)), rendition)
        assert said == rows_of(with_class(card, "docket")[0]).get("Approval")


# --- pictures and links ----------------------------------------------------------------------------------------------


def test_pictures_have_their_true_size_and_wait_until_they_are_needed() -> None:
    sizes = {
        rendition.preview.path: rendition.preview.size
        for shown in PLAN.frames
        for rendition in (shown.whole, *shown.renditions)
        if rendition.preview
    }
    images = list(next(page_of().iter("main")).iter("img"))
    assert len(images) == 2 + 4
    for image in images:
        assert image.get("alt") is not None
        size = sizes[below_output(image.get("src", ""))]
        assert sides(size) == (int(image.get("width", "")), int(image.get("height", "")))
    assert [None, *["lazy"] * 5] == [image.get("loading") for image in images]


def test_a_small_screen_is_offered_the_smaller_picture_of_a_whole_frame() -> None:
    shown = frame()
    small = Output(Size(800, 533), "jpeg", "sheet/previews/small/bowl.jpg", 72.0)
    page = page_of(replace(PLAN, frames=(replace(shown, whole=replace(shown.whole, small=small)),)))
    image = next(page.iter("img"))
    assert (image.get("src"), image.get("width"), image.get("height")) == ("previews/small/bowl.jpg", "800", "533")
    assert image.get("srcset") == "previews/small/bowl.jpg 800w, previews/bowl-from-above-whole.jpg 1200w"
    assert next(page.iter("main")).find(".//a[@class='open']").get("href") == "previews/bowl-from-above-whole.jpg"  # type: ignore[union-attr]


def test_finals_are_linked_once_they_are_made_in_their_largest_size() -> None:
    largest = {output.path for one in PLAN.renditions for output in one.outputs if output.size.width == 1600}
    assert largest <= {below_output(link) for link in file_links(page_of(PLAN, made_all(PLAN)))}
    page = page_of()
    assert {link.split("/")[0] for link in file_links(page)} == {"previews"}
    assert words(card_of(page, HERO)).count("not yet") == len(HERO.outputs)


def test_links_survive_any_name() -> None:
    odd = "blog/a b#c?d%e&f:g+é'\".jpg"
    rendition = replace(
        SQUARE,
        outputs=(replace(SQUARE.outputs[0], path=odd),),
        preview=Output(Size(640, 640), "jpeg", "sheet/javascript:previews?.jpg", 72.0),
    )
    page = page_of(one_frame(rendition), made_all(one_frame(rendition)))
    assert odd in {below_output(link) for link in file_links(page)}
    assert "sheet/javascript:previews?.jpg" in [
        below_output(image.get("src", "")) for image in next(page.iter("main")).iter("img")
    ]


@pytest.mark.parametrize("path", ["../elsewhere.jpg", "blog/../../elsewhere.jpg", "/etc/elsewhere.jpg", ""])
def test_path_that_leaves_the_output_folder_is_not_linked(path: str) -> None:
    rendition = replace(SQUARE, outputs=(replace(SQUARE.outputs[0], path=path),))
    with pytest.raises(ValueError, match="not a path below the output folder"):
        page_of(one_frame(rendition))


def test_every_link_within_the_page_has_its_end() -> None:
    page = page_of()
    ids = {element.get("id") for element in page.iter()}
    inner = [link.get("href", "")[1:] for link in page.iter() if link.get("href", "").startswith("#")]
    assert inner
    assert set(inner) <= ids


def test_addresses_of_licences_are_the_only_way_out() -> None:
    page = page_of(PLAN, made_all(PLAN))
    away = [link for link in page.iter("a") if urlsplit(link.get("href", "")).scheme]
    assert {FACTS.licence_url, FACTS.acquire_url} == {link.get("href") for link in away}
    assert {"noopener noreferrer"} == {link.get("rel") for link in away}


# --- by whose hand ---------------------------------------------------------------------------------------------------


def test_renditions_of_one_frame_are_shown_at_one_scale() -> None:
    html = html_of()
    article = articles(parsed(html))[0]
    widths = []
    for rendition in (HERO, SQUARE, PAGE, POSTER):
        shown = next(iter(with_class(card_of(article, rendition), "print"))).get("class", "")
        widths.append(int(re.findall(r"\bw(\d+)\b", shown)[0]))
        assert f".w{widths[-1]}{{--w:{widths[-1]}}}" in html
    assert widths == [240, 160, 108, 80]  # 6000, 4000, 2700 and 2000 source pixels


def test_renditions_are_grouped_by_outlet() -> None:
    article = articles(page_of())[0]
    groups = {
        words(section[0]): [item.get("data-rendition") for item in with_class(section, "card")]
        for section in article.iter("section")
    }
    assert groups == {
        "blog": ["blog/hero"],
        "feed": ["feed/square"],
        "print": ["print/book-page", "print/poster"],
    }


def test_each_frame_and_each_of_several_renditions_can_be_answered() -> None:
    """The boxes to tick are in the page itself: they can be printed, and ticked with a pen."""
    page = page_of()
    for number, article in enumerate(articles(page), 1):
        [box] = with_class(article, "answer")
        assert words(box[0]) == f"Your answer to frame {number}"
        choices = [(words(label), label[0].get("value")) for label in box.iter("label")]
        assert choices == [("Approve", "approve"), ("Change", "change"), ("Leave out", "leave-out")]
        assert len({choice.get("name") for choice in box.iter("input")}) == 1
    alone = [[with_class(card, "alone") != [] for card in with_class(article, "card")] for article in articles(page)]
    assert alone == [[True, True, True, False], [False]]  # not what is refused, not the only one


def test_filters_are_there_where_there_is_a_choice() -> None:
    page = page_of()
    chosen = {select.get("id"): [words(option) for option in select] for select in page.iter("select")}
    assert chosen == {
        "by-outlet": ["all", "blog", "feed", "print"],
        "by-answer": ["all", "open", "Approve", "Change", "Leave out"],
    }
    other = replace(frame("bread"), view="straight-on")
    chosen_views = list(page_of(replace(PLAN, frames=(frame(), other))).iter("select"))[1]
    assert [words(option) for option in chosen_views] == ["all", "Overhead", "Straight on"]


def test_template_engine_is_loaded_only_when_a_sheet_is_made() -> None:
    code = "import sys, pipeline.deliver.sheet; print(sorted({'jinja2', 'markupsafe', 'lxml'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"
