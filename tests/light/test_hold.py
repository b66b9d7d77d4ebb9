"""The largest box under bounds and an ellipse, against trying every box of a small frame."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.light.ellipse import Axis, Ellipse
from pipeline.light.hold import Hold
from pipeline.light.ratio import height_at
from pipeline.light.slide import Bound, Slide

UNIT = 12
SIDE = 22
ratios = st.sampled_from([Fraction(1), Fraction(16, 9), Fraction(4, 5), Fraction(1, 7), Fraction(6)])
bounds = st.builds(Bound, st.integers(-UNIT, SIDE * UNIT), st.integers(0, UNIT))
slides = st.builds(
    lambda side, lower, over, slope: Slide.inside(side, UNIT).between(lower, Bound(lower.at + over, slope)),
    st.integers(1, SIDE),
    bounds,
    st.integers(0, SIDE * UNIT),
    st.integers(0, UNIT),
)
axes = st.builds(
    lambda near, length: Axis(UNIT, UNIT // 2, UNIT, near, near + 2 * length),
    st.integers(0, SIDE * UNIT // 2),
    st.integers(0, SIDE * UNIT // 4),
)


def boxes(hold: Hold, width: int) -> set[tuple[int, int]]:
    height = height_at(width, hold.ratio)
    if height < 1:
        return set()
    lefts, tops = hold.across.room(width), hold.down.room(height)
    return {
        (left, top)
        for left, top in product(range(lefts.first, lefts.last + 1), range(tops.first, tops.last + 1))
        if hold.ellipse is None
        or (2 * Fraction(hold.ellipse.across.overhang(left, width), UNIT * width)) ** 2
        + (2 * Fraction(hold.ellipse.down.overhang(top, height), UNIT * height)) ** 2
        <= 1
    }


# Found: the step down in height must end at the widest box of the next height that has room.
STEP_IN_HEIGHT = Slide.inside(3, UNIT).between(Bound(1, 0), Bound(13, 1))


@example(Fraction(1), Slide.inside(2, UNIT), STEP_IN_HEIGHT, None, 1)
@given(ratios, slides, slides, st.none() | st.tuples(axes, axes), st.integers(1, 6))
def test_widest_is_the_largest_width_with_a_box(
    ratio: Fraction, across: Slide, down: Slide, ellipse_axes: tuple[Axis, Axis] | None, least: int
) -> None:
    ellipse = Ellipse(*ellipse_axes, ratio) if ellipse_axes else None
    hold = Hold(ratio, across, down, ellipse)
    widths = [width for width in range(least, across.side + 1) if boxes(hold, width)]
    assert max(widths, default=0) == hold.widest(least)
    for width in widths:
        places = {
            (left, top)
            for lefts, tops in hold.rooms(width)
            for left, top in product(range(lefts.first, lefts.last + 1), range(tops.first, tops.last + 1))
        }
        assert boxes(hold, width) == places


def test_a_circle_in_a_corner_of_the_frame() -> None:
    """A circle of diameter d in a corner passes through the point p from both edges where d = 2 p (2 + sqrt 2).

    That is the point of the 45 degree line where d / 2 (1 - 1 / sqrt 2) = p; for p = 100 d is 682.84.
    """
    axis = Axis(UNIT, UNIT // 2, UNIT, 100 * UNIT, 150 * UNIT)
    frame = Slide.inside(5000, UNIT)
    hold = Hold(Fraction(1), frame, frame, Ellipse(axis, axis, Fraction(1)))
    assert hold.widest(1) == 682
    assert [(lefts.first, tops.first) for lefts, tops in hold.rooms(682)] == [(0, 0)]


def test_flat_slopes_are_exact() -> None:
    """Two bounds whose slopes differ by a ten-thousandth leave a whole start only where thirds come to one."""
    unit = 30_000
    side = Slide.inside(12_000, unit).between(Bound(5000 * unit + 100, 10_000), Bound(5000 * unit + 100, 9_997))
    hold = Hold(Fraction(1), side, Slide.inside(12_000, unit), None)
    widths = [size for size in range(1, 12_001) if not side.room(size).empty]
    assert max(widths, default=0) == hold.widest(1)
