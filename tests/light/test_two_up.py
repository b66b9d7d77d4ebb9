"""Two frames in one picture: equal halves that fill it but for the gap. Arithmetic, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.box import Box, Size
from pipeline.light.two_up import Layout, fitted, halves

LAYOUTS = st.sampled_from(["side-by-side", "one-above-the-other"])


def test_side_by_side() -> None:
    assert halves(Size(1080, 810), "side-by-side", 12) == (Box(0, 0, 534, 810), Box(546, 0, 534, 810))


def test_one_above_the_other() -> None:
    assert halves(Size(1080, 1350), "one-above-the-other", 12) == (Box(0, 0, 1080, 669), Box(0, 681, 1080, 669))


def test_an_odd_room_widens_the_gap_so_that_the_halves_are_equal() -> None:
    assert halves(Size(1081, 10), "side-by-side", 12) == (Box(0, 0, 534, 10), Box(547, 0, 534, 10))


def test_no_room() -> None:
    with pytest.raises(ValueError, match="a gap of 10 px leaves two frames no room in 11 px"):
        halves(Size(11, 11), "side-by-side", 10)


@given(st.integers(4, 4000), st.integers(4, 4000), LAYOUTS, st.integers(0, 400))
def test_halves_are_equal_lie_inside_and_leave_the_gap(width: int, height: int, layout: Layout, gap: int) -> None:
    whole = Size(width, height)
    long = width if layout == "side-by-side" else height
    if (long - gap) // 2 < 1:
        return
    first, second = halves(whole, layout, gap)
    assert first.size == second.size
    assert (first.left, first.top, second.right, second.bottom) == (0, 0, width, height)
    between = second.left - first.right if layout == "side-by-side" else second.top - first.bottom
    assert between - gap in (0, 1)


def test_frames_that_are_large_enough_give_the_size_asked_for() -> None:
    assert fitted(Size(1080, 810), "side-by-side", 12, (Size(534, 810), Size(2000, 3033))) == (Size(1080, 810), 12)


def test_a_small_frame_shrinks_both() -> None:
    size, gap = fitted(Size(1080, 810), "side-by-side", 12, (Size(267, 405), Size(2000, 3033)))
    assert (size, gap) == (Size(540, 405), 6)


@given(st.integers(40, 3000), st.integers(40, 3000), LAYOUTS, st.integers(0, 15), st.integers(40, 3000))
def test_nothing_is_enlarged(width: int, height: int, layout: Layout, gap: int, side: int) -> None:
    whole = Size(width, height)
    first, _ = halves(whole, layout, gap)
    has = Size(max(8, side), max(8, round(side * first.height / first.width)))
    try:
        size, smaller_gap = fitted(whole, layout, gap, (has, has))
    except ValueError:
        return
    half, _ = halves(size, layout, smaller_gap)
    assert half.width <= has.width
    assert half.height <= has.height
    assert (size.width <= width, size.height <= height, smaller_gap <= gap) == (True, True, True)
