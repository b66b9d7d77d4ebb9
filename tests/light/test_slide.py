"""Slides against counting: every start and size of a short side is tried."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.slide import Bound, Room, Slide, best_room

UNIT = 12
bounds = st.builds(Bound, st.integers(-3 * UNIT, 30 * UNIT), st.integers(0, UNIT))


@st.composite
def slides(draw: st.DrawFn) -> Slide:
    slide = Slide.inside(draw(st.integers(1, 30)), UNIT)
    for _ in range(draw(st.integers(0, 2))):
        slide = slide.between(draw(bounds), draw(bounds))
    return slide


def starts(slide: Slide, size: int) -> list[int]:
    return [
        start
        for start in range(slide.side - size + 1)
        if all(start >= Fraction(at - slope * size, UNIT) for at, slope in slide.lowers)
        and all(start <= Fraction(at - slope * size, UNIT) for at, slope in slide.uppers)
    ]


@given(slides())
def test_the_room_is_every_start_that_meets_the_bounds(slide: Slide) -> None:
    for size in range(1, slide.side + 1):
        room = slide.room(size)
        assert starts(slide, size) == list(range(room.first, room.last + 1))
        assert room.empty == (not starts(slide, size))


@given(slides())
def test_no_size_outside_the_bounds_has_room(slide: Slide) -> None:
    least, most = slide.sizes()
    for size in range(1, slide.side + 1):
        if starts(slide, size):
            assert least <= size <= most


@given(slides())
def test_sizes_are_those_with_a_start_that_need_not_be_whole(slide: Slide) -> None:
    least, most = slide.sizes()
    for size in range(1, slide.side + 1):
        low = max(Fraction(at - slope * size, UNIT) for at, slope in slide.lowers)
        high = min(Fraction(at - slope * size, UNIT) for at, slope in slide.uppers)
        assert (least <= size <= most) == (low <= high)


@given(slides())
def test_below_passes_over_no_size_with_room(slide: Slide) -> None:
    for size in range(1, slide.side + 1):
        if not starts(slide, size):
            below = slide.below(size)
            assert 0 <= below < size
            assert [between for between in range(below + 1, size) if starts(slide, between)] == []


@given(st.integers(0, 20), st.integers(0, 20), st.integers(-60, 160), st.integers(0, 60))
def test_best_room_is_all_the_best_starts(first: int, length: int, left: int, plateau: int) -> None:
    """A trapezoid: rising to left / 5, level to (left + plateau) / 5, then falling."""

    def score(start: int) -> int:
        return -max(left - start * 5, 0, start * 5 - left - plateau)

    room = Room(first, first + length)
    best = best_room(room, [(left, 5), (left + plateau, 5)], score)
    everywhere = range(room.first, room.last + 1)
    highest = max(map(score, everywhere))
    assert [start for start in everywhere if score(start) == highest] == list(range(best.first, best.last + 1))
