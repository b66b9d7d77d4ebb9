from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.box import WHOLE, Region
from pipeline.light.free import (
    Corner,
    Free,
    both_free,
    free_beside_corner,
    free_from_bands,
    free_in_margins,
)

shares = st.integers(0, 20).map(lambda n: n / 20)
inner = st.integers(1, 19).map(lambda n: n / 20)
places = st.tuples(st.integers(0, 199), st.integers(0, 199)).map(
    lambda at: (at[0] / 200 + 1 / 400, at[1] / 200 + 1 / 400)
)


def covers(free: Free, x: float, y: float) -> bool:
    return any(part.left < x < part.right and part.top < y < part.bottom for part in free)


@given(shares, shares, shares, shares, places)
def test_a_place_is_free_of_bands_where_it_is_in_none(
    top: float, bottom: float, left: float, right: float, place: tuple[float, float]
) -> None:
    x, y = place
    between = top < y < 1 - bottom and left < x < 1 - right
    assert between == covers(free_from_bands(top, bottom, left, right), x, y)


@given(st.sampled_from(get_args(Corner)), inner, inner, places)
def test_the_two_parts_beside_a_corner_are_all_but_the_corner(
    corner: Corner, width: float, height: float, place: tuple[float, float]
) -> None:
    x, y = place
    across = x < width if corner.endswith("left") else x > 1 - width
    down = y < height if corner.startswith("top") else y > 1 - height
    free = free_beside_corner(corner, width, height)
    assert (not (across and down)) == covers(free, x, y)
    assert len(free) == 2


def test_the_parts_beside_a_corner_are_as_large_as_can_be() -> None:
    assert (Region(0.0, 0.0, 0.75, 1.0), Region(0.0, 0.2, 1.0, 1.0)) == free_beside_corner("top-right", 0.25, 0.2)


def test_what_is_wholly_covered_has_no_free_part() -> None:
    assert free_from_bands(top=0.5, bottom=0.5) == ()
    assert free_beside_corner("top-left", 1, 1) == ()
    assert both_free(free_from_bands(bottom=0.5), free_from_bands(top=0.5)) == ()


@given(st.sampled_from(get_args(Corner)), inner, inner, inner, places)
def test_free_of_both_is_free_of_each(
    corner: Corner, width: float, height: float, band: float, place: tuple[float, float]
) -> None:
    bands, beside = free_from_bands(top=band / 2, left=band / 3), free_beside_corner(corner, width, height)
    both = both_free(bands, beside)
    assert (covers(bands, *place) and covers(beside, *place)) == covers(both, *place)
    assert both == both_free((WHOLE,), both)


@pytest.mark.parametrize(("side", "left_mm", "right_mm"), [("right", 12.0, 5.0), ("left", 5.0, 12.0), (None, 5.0, 5.0)])
def test_the_gutter_is_at_the_binding_edge(side: str | None, left_mm: float, right_mm: float) -> None:
    """A right-hand page is bound at its left: common practice, no source."""
    (free,) = free_in_margins((200, 250), 5, 12, side)  # type: ignore[arg-type]
    assert (left_mm, 5.0, 200 - right_mm, 245.0) == pytest.approx(
        (free.left * 200, free.top * 250, free.right * 200, free.bottom * 250)
    )


def test_without_a_gutter_all_margins_are_alike() -> None:
    assert (Region(0.025, 0.02, 0.975, 0.98),) == free_in_margins((200, 250), 5, side="left")
