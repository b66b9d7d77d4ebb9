"""Levelling: where points go, the rectangle without empty corners, what a turn loses."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.light.turn import Turn

sides = st.integers(1, 12_000)
sizes = st.builds(Size, sides, sides)
angles = st.floats(-45, 45, allow_nan=False)
small_angles = st.floats(-5, 5, allow_nan=False)


def at(turn: Turn, x: float, y: float) -> tuple[float, float]:
    """Return where a place of the turned frame is in the frame, in pixels from its middle, by complex numbers."""
    turned = turn.size
    place = complex(x - turned.width / 2, y - turned.height / 2)
    # With y downwards a product with exp(i a) is a clockwise turn; back is against it.
    back = place * np.exp(-1j * math.radians(turn.degrees))
    return float(back.real), float(back.imag)


@given(sizes)
def test_no_turn_is_nothing(frame: Size) -> None:
    turn = Turn(frame, 0.0)
    assert frame == turn.size
    assert Point(0.1, 0.9) == turn.point(Point(0.1, 0.9))
    assert Region(0.1, 0.2, 0.3, 0.4) == turn.region(Region(0.1, 0.2, 0.3, 0.4))
    assert turn.lost(WHOLE) == 0


def test_a_positive_turn_is_clockwise() -> None:
    # The middle of the right edge goes down, the middle of the upper edge to the right.
    turn = Turn(Size(600, 400), 2.0)
    assert turn.point(Point(0.9, 0.5)).y > 0.5
    assert turn.point(Point(0.5, 0.1)).x > 0.5
    assert turn.point(Point(0.5, 0.5)) == Point(0.5, 0.5)


@given(sizes, angles)
@example(Size(6000, 4000), -0.8)
@example(Size(6000, 4000), 45.0)
@example(Size(4000, 4000), 45.0)
@example(Size(12_000, 1), 30.0)
def test_no_corner_of_the_turned_frame_is_empty(frame: Size, degrees: float) -> None:
    turn = Turn(frame, degrees)
    turned = turn.size
    assume(min(turned.width, turned.height) > 1)  # below a pixel there is no smaller frame to take
    for x in (0, turned.width):
        for y in (0, turned.height):
            right, below = at(turn, x, y)
            assert abs(right) <= frame.width / 2 + 1e-5
            assert abs(below) <= frame.height / 2 + 1e-5


@given(sizes, angles)
@example(Size(6000, 4000), -0.8)
@example(Size(6000, 600), 40.0)
@example(Size(600, 6000), -40.0)
def test_no_larger_rectangle_would_do(frame: Size, degrees: float) -> None:
    # Oracle: for every width the highest rectangle that the four corners allow.
    assume(abs(degrees) > 0.001)
    cosine, sine = math.cos(math.radians(degrees)), abs(math.sin(math.radians(degrees)))
    widths = np.linspace(0, min(frame.width / cosine, frame.height / sine), 20_001)
    heights = np.minimum((frame.width - widths * cosine) / sine, (frame.height - widths * sine) / cosine)
    best = float((widths * np.maximum(heights, 0)).max())
    found = Turn(frame, degrees).size
    assert (found.width + 1) * (found.height + 1) >= best * (1 - 1e-9)


@given(sizes, small_angles, st.floats(0, 1), st.floats(0, 1))
def test_a_point_is_found_again_in_the_source(frame: Size, degrees: float, x: float, y: float) -> None:
    turn = Turn(frame, degrees)
    there = turn.point(Point(x, y))
    back = turn.source(there.x * turn.size.width, there.y * turn.size.height)
    assert back == pytest.approx((x * frame.width, y * frame.height), abs=1e-6)


@given(sizes, angles)
def test_the_ways_there_and_back_are_those_of_plane_geometry(frame: Size, degrees: float) -> None:
    turn = Turn(frame, degrees)
    right, below = at(turn, 3.0, 7.0)
    assert turn.source(3.0, 7.0) == pytest.approx((right + frame.width / 2, below + frame.height / 2), abs=1e-6)


@given(small_angles, st.floats(0, 0.9), st.floats(0, 0.9))
def test_a_region_is_held_whole(degrees: float, left: float, top: float) -> None:
    turn = Turn(Size(6000, 4000), degrees)
    region = Region(left, top, left + 0.1, top + 0.1)
    held = turn.region(region)
    for x in np.linspace(region.left, region.right, 5):
        for y in np.linspace(region.top, region.bottom, 5):
            inside = turn.point(Point(float(x), float(y)))
            assert held.left - 1e-9 <= inside.x <= held.right + 1e-9
            assert held.top - 1e-9 <= inside.y <= held.bottom + 1e-9


@given(angles, st.floats(0, 0.7), st.floats(0, 0.7), st.floats(0.1, 0.3), st.floats(0.1, 0.3))
@example(3.0, 0.0, 0.0, 0.3, 0.3)
@example(0.8, 0.7, 0.7, 0.3, 0.3)
@example(0.125, 0.5, 0.0, 0.25, 0.125)  # most of a pixel, which is one in a hundred of so small a region
def test_what_a_turn_loses_is_the_share_outside(
    degrees: float, left: float, top: float, width: float, height: float
) -> None:
    turn = Turn(Size(900, 600), degrees)
    region = Region(left, top, left + width, top + height)
    # Oracle: a fine grid of points over the region, counted. Within a pixel nothing counts as lost.
    steps = (np.arange(200) + 0.5) / 200
    inside, corners = (np.meshgrid(left + width * at, top + height * at) for at in (steps, np.array([0.0, 1.0])))
    turned = turn.size
    beyond, of_corners = (
        np.stack([np.abs(place.real) - turned.width / 2, np.abs(place.imag) - turned.height / 2])
        for x, y in (inside, corners)
        for place in [((x - 0.5) * 900 + 1j * (y - 0.5) * 600) * np.exp(1j * math.radians(degrees))]
    )
    reach = of_corners.max()
    assume(abs(reach - 1) > 1e-6)
    outside = (beyond > 0).any(axis=0).mean() if reach > 1 else 0
    assert turn.lost(region) == pytest.approx(outside, abs=0.01)


def test_what_reaches_out_by_a_pixel_is_not_lost() -> None:
    turn = Turn(Size(6000, 4000), 0.001)
    assert turn.lost(Region(0.001, 0.001, 0.999, 0.999)) == 0
    assert turn.lost(Region(0.0, 0.2, 0.5, 0.8)) == 0  # half a pixel: less than a hand can say


@given(sizes, angles, st.data())
def test_a_box_is_made_from_a_part_that_covers_it(frame: Size, degrees: float, data: st.DataObject) -> None:
    turn = Turn(frame, degrees)
    turned = turn.size
    left, top = data.draw(st.integers(0, turned.width - 1)), data.draw(st.integers(0, turned.height - 1))
    box = Box(left, top, turned.width - left, turned.height - top)
    part = turn.covered(box, 0.0)
    assert 0 <= part.left < part.right <= frame.width
    assert 0 <= part.top < part.bottom <= frame.height
    for x in (box.left, box.right):
        for y in (box.top, box.bottom):
            right, below = (place + side / 2 for place, side in zip(at(turn, x, y), vars_of(frame), strict=True))
            assert part.left - 0.5 <= right <= part.right + 0.5
            assert part.top - 0.5 <= below <= part.bottom + 0.5


def vars_of(size: Size) -> tuple[int, int]:
    return size.width, size.height
