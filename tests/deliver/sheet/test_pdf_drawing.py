"""What is drawn over pictures on paper: the page's drawings, each as one SVG in CSS px of its width there."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import Element, fromstring

import pytest

from pipeline.deliver.review.state import Before, Spot, Standing
from pipeline.deliver.sheet.pdf_drawing import draw_anew
from pipeline.light.box import Size
from pipeline.plan.rendition import Output
from tests.deliver.sheet.sheet_shoot import HERO, PAGE, PLAN, POSTER, SQUARE, SVG, frame, page_of, with_class

if TYPE_CHECKING:
    from pipeline.plan.rendition import Plan

PX = 96 / 25.4  # CSS px in a millimetre (CSS Values 4, 6.2)
WIDTH = 70 * 1.5 * PX if 70 * 1.5 < 74 else 74 * PX  # the print style: at most 74 mm wide, 70 mm high
HEIGHT = WIDTH * 4000 / 6000


def drawings(plan: Plan = PLAN, **changes: Any) -> tuple[Element, list[Element]]:  # noqa: ANN401 (fields of Review)
    """Return the page without its SVG, and what was drawn anew in its stead."""
    page = page_of(plan, **changes)
    return page, [fromstring(text) for text in draw_anew(page)]  # noqa: S314 (our own)


def drawn_on(place: Element, drawn: list[Element]) -> Element:
    """Return the drawing that a box of the page shows."""
    boxes = [one for one in with_class(place, "drawing") if one.get("class") == "drawing"]
    found = re.fullmatch(r"background-image:url\(drawing:(\d+)\)", boxes[0].get("style", ""))
    assert found is not None
    return drawn[int(found[1])]


def preview(width: int, height: int) -> Output:
    return Output(Size(width, height), "jpeg", "sheet/previews/one.jpg", 72.0)


def corners(path: Element) -> list[float]:
    """Return left, top, right and bottom of a rectangle's path."""
    left, top, right, bottom, again = map(float, re.findall(r"-?[\d.]+", path.get("d", "")))
    assert left == again
    return [left, top, right, bottom]


def test_no_drawing_is_left_in_the_page_and_each_box_has_its_own() -> None:
    page, drawn = drawings()
    assert [one.tag for one in page.iter() if str(one.tag).startswith(SVG)] == []
    shown = [one.get("style") for one in with_class(page, "drawing")]
    assert sorted(shown, key=str) == sorted((f"background-image:url(drawing:{n})" for n in range(len(drawn))), key=str)


def test_crops_lie_where_they_lie_in_the_frame_and_lines_keep_their_width() -> None:
    """A box of the frame in source pixels, times the width on paper over the frame's width."""
    plan = replace(PLAN, frames=(frame(renditions=(HERO, SQUARE, POSTER)),))
    page, drawn = drawings(plan)
    drawing = drawn_on(with_class(page, "whole")[0], drawn)
    assert [float(part) for part in drawing.get("viewBox", "").split()] == pytest.approx(
        [0, 0, WIDTH, HEIGHT], abs=0.01
    )
    white = [one for one in drawing.iter(f"{SVG}path") if one.get("stroke") == "#fff" and "H" in one.get("d", "")]
    scale = WIDTH / 6000
    hero, square, keep = (corners(one) for one in white[:3])  # the refused one is not drawn
    assert hero == pytest.approx([0, 300 * scale, 6000 * scale, 3675 * scale], abs=0.01)
    assert square == pytest.approx([900 * scale, 0, 4900 * scale, 4000 * scale], abs=0.01)
    assert keep == pytest.approx([0.31 * WIDTH, 0.30 * HEIGHT, 0.62 * WIDTH, 0.80 * HEIGHT], abs=0.01)
    assert {one.get("stroke-width") for one in white[:3]} == {"1.25"}
    assert [one.get("stroke-dasharray") for one in white[:3]] == [None, None, "7 5"]
    assert [one.text for one in drawing.iter(f"{SVG}text")] == ["1", "2"]


def test_a_round_crop_is_an_ellipse_and_veils_what_is_cut_off_its_print() -> None:
    avatar = replace(SQUARE, round_shape=True, preview=preview(640, 640))
    page, drawn = drawings(replace(PLAN, frames=(frame(renditions=(avatar,)),)))
    [veil] = drawn_on(with_class(page, "card")[0], drawn)
    across = 38 * PX  # the longest side of the largest crop of a frame
    numbers = [float(part) for part in re.findall(r"-?[\d.]+", veil.get("d", "").split("Z")[1])]
    assert numbers == pytest.approx(
        [0, across / 2, across / 2, across / 2, 0, 1, 0, across, 0, across / 2, across / 2, 0, 1, 0, -across, 0],
        abs=0.01,
    )
    assert (veil.get("fill"), veil.get("fill-rule"), veil.get("fill-opacity")) == ("#fff", "evenodd", "0.72")


def test_bleed_is_dashed_on_the_frame_and_the_trim_is_drawn_on_the_print() -> None:
    page, drawn = drawings(replace(PLAN, frames=(frame(renditions=(replace(PAGE, preview=preview(2700, 3800)),)),)))
    on_frame = drawn_on(with_class(page, "whole")[0], drawn)
    dashes = [one.get("stroke-dasharray") for one in on_frame if one.get("stroke") == "#fff"]
    assert dashes[:2] == ["1.5 3", None]
    on_print = [one for one in drawn_on(with_class(page, "card")[0], drawn) if one.get("stroke") == "#fff"]
    high = 38 * PX
    wide = high * 2700 / 3800
    units = round(2700 * 240 / 3800) / 240 * 38 * PX  # widths come in whole units of the style
    assert corners(on_print[0]) == pytest.approx([0.02 * wide, 0.01 * high, 0.98 * wide, 0.99 * high], abs=0.5)
    assert units == pytest.approx(wide, abs=0.5)


def test_what_a_reviewer_drew_is_drawn_on_the_earlier_print() -> None:
    said = Standing(
        reviewer="Mara Feldt",
        date="2026-11-20",
        round_number=1,
        verdict="change",
        note="",
        spots=(Spot((0.2, 0.3, 0.6, 0.9)), Spot((0.5, 0.25))),
        stands=False,
        before=Before("sheet/earlier/one.jpg", Size(1200, 800)),
    )
    page, drawn = drawings(number=2, standings={"bowl-from-above": (said,)})
    drawing = drawn_on(with_class(page, "pair")[0], drawn)
    wide, high = 38 * PX, 38 * PX * 800 / 1200
    [box] = [one for one in drawing.iter(f"{SVG}path") if one.get("stroke") == "#fff"]
    assert corners(box) == pytest.approx([0.2 * wide, 0.3 * high, 0.6 * wide, 0.9 * high], abs=0.02)
    [edge, ring] = drawing.iter(f"{SVG}circle")
    assert float(ring.get("cx", "")) == float(edge.get("cx", "")) == pytest.approx(wide / 2, abs=0.01)
    assert float(ring.get("cy", "")) == pytest.approx(high / 4, abs=0.01)


def test_the_key_shows_each_mark_in_ink() -> None:
    page, drawn = drawings()
    marks = with_class(with_class(page, "marks")[0], "drawing")
    assert len(marks) == 4
    numbers = [int(re.findall(r"\d+", one.get("style", ""))[0]) for one in marks]
    for number in numbers:
        assert {one.get("stroke") for one in drawn[number]} == {"#000"}
    assert [[one.get("stroke-dasharray") for one in drawn[number]] for number in numbers] == [
        [None],
        ["1.5 3"],
        ["7 5"],
        [None],
    ]
