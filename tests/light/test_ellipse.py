"""Ellipses against the equation of the ellipse at each corner, and areas against elementary geometry."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.ellipse import Axis, Ellipse, disc_area
from pipeline.light.ratio import height_at
from pipeline.light.slide import Bound, Room, Slide

UNIT = 24
SIDE = 24


@st.composite
def axes(draw: st.DrawFn) -> Axis:
    """Draw an axis of an ellipse that takes some of the middle of a box, with a rectangle somewhere in the frame."""
    first, last = draw(st.tuples(st.integers(0, 3), st.integers(9, 12)))
    near = draw(st.integers(0, SIDE * 4 - 1))
    length = draw(st.integers(0, SIDE * 2))
    scale = UNIT // 4
    return Axis(UNIT, (first + last) * UNIT // 24, (last - first) * UNIT // 12, near * scale, (near + length) * scale)


ellipses = st.builds(
    Ellipse, axes(), axes(), st.sampled_from([Fraction(1), Fraction(3, 2), Fraction(2, 7), Fraction(5), Fraction(1, 6)])
)


def slides(axis: Axis) -> st.SearchStrategy[Slide]:
    free = Slide.inside(SIDE, UNIT)
    place, slope = st.integers(0, SIDE * UNIT), st.integers(0, UNIT)
    bounded = st.builds(
        lambda at, over, low, high: free.between(Bound(at, low), Bound(at + over, high)), place, place, slope, slope
    )
    holding = st.builds(
        lambda low, high: free.between(Bound(axis.far, high), Bound(axis.near, low)),
        st.integers(0, UNIT // 2),
        st.integers(UNIT // 2, UNIT),
    )
    return st.one_of(st.just(free), bounded, holding)


def inside(ellipse: Ellipse, left: int, top: int, width: int, height: int) -> bool:
    """Whether every corner of the rectangle meets the equation of the ellipse."""
    x_axis, y_axis = ellipse.across, ellipse.down
    x = left + Fraction(x_axis.centre * width, UNIT)
    y = top + Fraction(y_axis.centre * height, UNIT)
    a, b = Fraction(x_axis.diameter * width, 2 * UNIT), Fraction(y_axis.diameter * height, 2 * UNIT)
    return all(
        ((Fraction(corner_x, UNIT) - x) / a) ** 2 + ((Fraction(corner_y, UNIT) - y) / b) ** 2 <= 1
        for corner_x, corner_y in product((x_axis.near, x_axis.far), (y_axis.near, y_axis.far))
    )


@given(ellipses, st.integers(2, SIDE))
def test_starts_are_those_with_all_corners_inside(ellipse: Ellipse, width: int) -> None:
    height = max(1, height_at(width, ellipse.ratio))
    places = range(SIDE)
    for other in range(0, SIDE, 3):
        lefts = ellipse.starts_across(width, height, other)
        tops = ellipse.starts_down(width, height, other)
        assert [left for left in places if inside(ellipse, left, other, width, height)] == [
            left for left in places if lefts.first <= left <= lefts.last
        ]
        assert [top for top in places if inside(ellipse, other, top, width, height)] == [
            top for top in places if tops.first <= top <= tops.last
        ]


@given(ellipses, st.integers(2, SIDE), st.integers(0, 9), st.integers(0, 9), st.integers(0, 9), st.integers(0, 9))
def test_rooms_are_what_goes_with_any_start_of_the_other_axis(
    ellipse: Ellipse, width: int, left: int, top: int, wide: int, high: int
) -> None:
    height = max(1, height_at(width, ellipse.ratio))
    lefts, tops = Room(left, left + wide), Room(top, top + high)
    held = [
        place
        for place in product(range(left, left + wide + 1), range(top, top + high + 1))
        if inside(ellipse, *place, width, height)
    ]
    across, down = (
        ellipse.room_across(width, height, lefts, tops),
        ellipse.room_down(width, height, lefts, tops),
    )
    assert sorted({place[0] for place in held}) == list(range(across.first, across.last + 1))
    assert sorted({place[1] for place in held}) == list(range(down.first, down.last + 1))


def passed_over(ellipse: Ellipse, across: Slide, down: Slide) -> list[int]:
    """Return the widths with a box that holds the rectangle that a step down from a larger one leaves out."""
    holding: list[int] = []
    failing: list[int] = []
    for width in range(1, SIDE + 1):
        height = height_at(width, ellipse.ratio)
        if not 1 <= height <= SIDE:
            continue
        lefts, tops = across.room(width), down.room(height)
        if lefts.empty or tops.empty:
            continue
        held = any(
            inside(ellipse, left, top, width, height)
            for left, top in product(range(lefts.first, lefts.last + 1), range(tops.first, tops.last + 1))
        )
        (holding if held else failing).append(width)
    steps = [(ellipse.width_below(width, across, down), width) for width in failing]
    assert all(below < width for below, width in steps)
    return [held for below, width in steps for held in holding if below < held < width]


@given(st.data(), ellipses)
def test_width_below_passes_over_no_width_that_holds(data: st.DataObject, ellipse: Ellipse) -> None:
    assert passed_over(ellipse, data.draw(slides(ellipse.across)), data.draw(slides(ellipse.down))) == []


def test_a_limit_binds_only_while_it_is_above_nothing() -> None:
    """In smaller boxes one overhang falls below nothing, where its square would seem to rise again."""
    across, down = Axis(24, 9, 18, 24, 24), Axis(24, 10, 16, 18, 18)
    frame = Slide.inside(SIDE, UNIT)
    assert passed_over(Ellipse(across, down, Fraction(2, 7)), frame, frame) == []


def test_a_thin_rectangle_at_the_edge_is_passed_in_few_steps() -> None:
    """A rectangle at the left edge of the frame meets the ellipse where it is steep; half a pixel counts for much."""
    side, unit = 12_000, 4
    across = Axis(unit, unit // 2, unit, 2, 800 * unit)
    down = Axis(unit, unit // 2, unit, 2000 * unit, 2120 * unit)
    ellipse = Ellipse(across, down, Fraction(1))
    frame = Slide.inside(side, unit), Slide.inside(9000, unit)
    width, steps = 9000, 0
    while width and ellipse.room_across(width, width, *(slide.room(width) for slide in frame)).empty:
        width, steps = ellipse.width_below(width, *frame), steps + 1
    assert width == 0
    assert steps < 10


@pytest.mark.parametrize(
    ("edges", "area"),
    [
        ((-1, -1, 1, 1), math.pi),
        ((-9, -9, 9, 9), math.pi),
        ((0, -1, 1, 1), math.pi / 2),
        ((-1, -1, 0, 0), math.pi / 4),
        ((0.5, -1, 1, 1), math.pi / 3 - math.sqrt(3) / 4),
        ((-0.5, -0.5, 0.5, 0.5), 1),
        ((0.8, 0.8, 1, 1), 0),
        ((0.5, 0.1, 0.4, 0.2), 0),
        ((-2, -2, -1, 2), 0),
    ],
)
def test_areas_of_elementary_geometry(edges: tuple[float, float, float, float], area: float) -> None:
    """The disc, its half and quarter, the segment beyond half the radius, an inscribed square, what is outside."""
    assert disc_area(*edges) == pytest.approx(area, abs=1e-12)


places = st.floats(-1.3, 1.3)


@given(places, places, places, places)
def test_areas_equal_the_sum_of_thin_strips(x: float, y: float, other_x: float, other_y: float) -> None:
    left, right, top, bottom = *sorted((x, other_x)), *sorted((y, other_y))
    strips = 2000
    step = (right - left) / strips
    total = 0.0
    for strip in range(strips):
        half_chord = math.sqrt(max(0.0, 1 - (left + (strip + 0.5) * step) ** 2))
        total += max(0.0, min(bottom, half_chord) - max(top, -half_chord)) * step
    assert disc_area(left, top, right, bottom) == pytest.approx(total, abs=1e-3)
