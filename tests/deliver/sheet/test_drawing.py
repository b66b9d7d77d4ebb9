"""What is drawn over the pictures: crops and thirds in the frame's pixels, crosses and spots at their places."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.review.state import Spot
from pipeline.deliver.sheet.drawing import frame_drawing, print_drawing, spots_drawn
from pipeline.light.box import WHOLE, Point, Region
from tests.deliver.sheet.sheet_shoot import (
    HERO,
    PAGE,
    PLAN,
    POSTER,
    SQUARE,
    SVG,
    articles,
    card_of,
    frame,
    page_of,
    rectangles,
    with_class,
    words,
)

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from pipeline.plan.rendition import Rendition


def first_article(*renditions: Rendition) -> Element:
    shown = frame(renditions=renditions) if renditions else frame()
    return articles(page_of(replace(PLAN, frames=(shown,))))[0]


def test_crops_are_drawn_in_the_frame_s_pixels() -> None:
    article = first_article()
    drawing = next(element for element in article.iter(f"{SVG}svg") if element.get("viewBox"))
    assert drawing.get("viewBox") == "0 0 6000 4000"
    crops = with_class(drawing, "crop")
    assert len(crops) == len(PLAN.frames[0].renditions)
    for crop, rendition in zip(crops, (HERO, SQUARE, PAGE, POSTER), strict=True):
        paths = {path.get("class"): path.get("d", "") for path in crop.iter(f"{SVG}path")}
        box = rendition.crop.box
        edges = (box.left, box.top, box.right, box.bottom)
        around, cut = rectangles(paths["cut bleed" if rendition is PAGE else "cut"])
        assert edges == cut
        assert around == (-99, -99, 6099, 4099)  # out of sight, whatever the line's width
        if rendition is PAGE:
            [trim] = rectangles(paths["trim"])
            assert trim == pytest.approx((1500 + 54, 100 + 38, 4200 - 54, 3900 - 38))
        else:
            trim = edges
            assert "trim" not in paths
        [thirds] = [use for use in crop.iter(f"{SVG}use") if use.get("href") == "#thirds-of-it"]
        left, top, right, bottom = trim
        placed = [float(thirds.get(name, "")) for name in ("x", "y", "width", "height")]
        assert placed == pytest.approx([left, top, right - left, bottom - top], abs=0.006)
    [keep] = with_class(drawing, "keep")
    assert rectangles(keep.get("d", "")) == [(1860, 1200, 3720, 3200)]


def test_thirds_are_thirds() -> None:
    [thirds] = [element for element in page_of().iter(f"{SVG}symbol") if element.get("id") == "thirds-of-it"]
    lines = [{name: line.get(name) for name in ("x1", "y1", "x2", "y2")} for line in thirds.iter(f"{SVG}line")]
    upright = [line for line in lines if line["y2"] == "100%"]
    level = [line for line in lines if line["x2"] == "100%"]
    for axis, found in (("x", upright), ("y", level)):
        places = [float((line[f"{axis}1"] or "").rstrip("%")) for line in found]
        assert places == pytest.approx([100 / 3, 200 / 3], abs=0.01)
        assert [line[f"{axis}1"] for line in found] == [line[f"{axis}2"] for line in found]


def test_subject_is_marked_on_the_frame() -> None:
    numbers = next(iter(with_class(first_article(), "numbers")))
    [cross] = with_class(numbers, "subject")
    assert (cross.get("x"), cross.get("y")) == ("46%", "55%")


def test_subject_of_a_crop_s_own_is_marked_with_that_crop() -> None:
    same = replace(SQUARE, crop=replace(SQUARE.crop, subject_at=Point((2760 - 900) / 4000, 0.55)))
    other = replace(HERO, crop=replace(HERO.crop, subject_at=Point(0.25, 0.5)))
    [cross] = with_class(first_article(same, other), "own")
    assert "c2" in cross.get("class", "").split()
    assert float(cross.get("x", "").rstrip("%")) == pytest.approx(25)
    assert float(cross.get("y", "").rstrip("%")) == pytest.approx(100 * (300 + 3375 / 2) / 4000, abs=0.006)


@pytest.mark.parametrize(
    ("free", "covered_share"),
    [
        ((WHOLE,), 0.0),
        ((Region(0, 0.14, 1, 0.8),), 0.34),
        ((Region(0, 0, 0.8, 1), Region(0, 0, 1, 0.84)), 0.2 * 0.16),
    ],
)
def test_covered_part_is_the_trim_without_the_free_parts(free: tuple[Region, ...], covered_share: float) -> None:
    rendition = replace(SQUARE, free=free)
    article = first_article(rendition)
    for place in (with_class(article, "crop")[0], card_of(article, rendition)):
        drawn = [box for path in with_class(place, "covered") for box in rectangles(path.get("d", ""))]
        area = sum((right - left) * (bottom - top) for left, top, right, bottom in drawn)
        assert area == pytest.approx(covered_share * 4000 * 4000, rel=1e-4)


def test_numbers_on_the_picture_lead_to_their_renditions() -> None:
    article = first_article()
    cards = {card.get("id"): card for card in with_class(article, "card")}
    tags = with_class(article, "tag")
    assert [words(tag) for tag in tags] == ["1", "2", "3"]  # what is refused is not cut
    for tag, rendition in zip(tags, (HERO, SQUARE, PAGE), strict=True):
        card = cards[tag.get("href", "")[1:]]
        assert f"{rendition.outlet}/{rendition.target}" == card.get("data-rendition")
        assert tag.get("aria-label") == f"{words(tag)}, {rendition.outlet}/{rendition.target}"
    assert [words(card.find(".//h4")[0]) for card in cards.values()] == ["1", "2", "3", "4"]  # type: ignore[index]


def test_round_picture_shows_its_circle() -> None:
    """SVG 2, 9.3.8: an arc `a rx ry 0 1 0 dx dy`; two half turns of radius r from the left end make the circle."""
    avatar = replace(SQUARE, round_shape=True)
    for drawing in (frame_drawing(avatar, PLAN.frames[0], None), print_drawing(avatar)):
        left, top = (900, 0) if drawing.thirds else (0, 0)
        arc = re.search(r"Z(M[\d. ]+a[\d. -]+a[\d. -]+Z)$", drawing.cut)
        assert arc
        assert arc[1] == f"M{left} {top + 2000}a2000 2000 0 1 0 4000 0a2000 2000 0 1 0 -4000 0Z"


def test_two_frames_in_one_picture_are_drawn_as_they_are() -> None:
    assert with_class(card_of(page_of(), SQUARE), "whole-of-it")
    print_of_it = print_drawing(SQUARE)
    assert (print_of_it.cut, print_of_it.trim, print_of_it.covered, print_of_it.thirds) == ("", "", "", None)


def test_spots_are_drawn_where_they_were_drawn() -> None:
    drawn = spots_drawn((Spot((0.25, 0.5)), Spot((0.31, 0.3, 0.62, 0.8)), Spot((0.0, 0.0, 1.0, 1.0))))
    assert [(point.x, point.y) for point in drawn.points] == [("25", "50")]
    assert rectangles(drawn.boxes) == [(310, 300, 620, 800), (0, 0, 1000, 1000)]


def test_tenths_are_drawn_where_they_are_the_job_s() -> None:
    """The job's fractions are those of the upright frame; on a levelled one they would be read off wrong."""
    assert len(with_class(first_article(), "tenths")) == 1
    level = frame()
    turned = replace(level.whole.crop, turn_deg=0.8)
    plan = replace(PLAN, frames=(replace(level, whole=replace(level.whole, crop=turned)),))
    assert with_class(articles(page_of(plan))[0], "tenths") == []
