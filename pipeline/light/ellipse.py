"""Ellipses in boxes: whether one holds a rectangle, for which sizes it can, and how much it covers.

The ellipse is inscribed in a part of a box that slides and grows; the rectangle stands still. It is
held where all four corners are inside: (2 p / a)^2 + (2 q / b)^2 <= 1, with a and b the diameters and
p and q the overhang on each axis, which is how far the farther side of the rectangle is from the centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.ratio import height_at
from pipeline.light.slide import Bound, Room, Slide, best_room

if TYPE_CHECKING:
    from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis of the ellipse and of the rectangle, in integers over `unit`.

    For a box at `start` of `size` pixels the centre is at start * unit + `centre` * size and the
    diameter is `diameter` * size; the rectangle spans `near`..`far`, where near > far is allowed
    (a rectangle thinner than the tolerance taken off its edges).
    """

    unit: int
    centre: int
    diameter: int
    near: int
    far: int

    def overhang(self, start: int, size: int) -> int:
        """Return how far the farther side of the rectangle is from the centre, at least 0."""
        middle = start * self.unit + self.centre * size
        return max(middle - self.near, self.far - middle, 0)

    def most_central(self, room: Room, size: int) -> Room:
        """Return the starts of `room` with the least overhang."""
        middle = self.centre * size
        turns = (self.near - middle, (self.near + self.far) // 2 - middle, self.far - middle)
        return best_room(room, [(turn, self.unit) for turn in turns], lambda start: -self.overhang(start, size))

    def starts_within(self, overhang: int, size: int) -> Room:
        """Return the starts with at most that overhang (not negative)."""
        middle = self.centre * size
        first, last = self.far - overhang - middle, self.near + overhang - middle
        return Room(-(-first // self.unit), last // self.unit)

    def least_overhang(self, slide: Slide, size: int) -> Bound:
        """Return the tightest linear limit at `size` that no overhang of a start of `slide` is under, at any size.

        The limit is at - slope * size: half the rectangle, or what a bound of the start leaves.
        """
        limits = [Bound(0, 0), Bound((self.far - self.near) // 2, 0)]
        limits += [Bound(at - self.near, slope - self.centre) for at, slope in slide.lowers]
        limits += [Bound(self.far - at, self.centre - slope) for at, slope in slide.uppers]
        return max(limits, key=lambda limit: limit.at - limit.slope * size)


@dataclass(frozen=True, slots=True)
class Ellipse:
    """The two axes of the ellipse in boxes of one `ratio` (width / height); both axes have one unit."""

    across: Axis
    down: Axis
    ratio: Fraction

    def starts_across(self, width: int, height: int, top: int) -> Room:
        """Return the lefts for which the ellipse of the box at `top` holds the rectangle."""
        return _starts(self.across, width, self.down.diameter * height, self.down.overhang(top, height))

    def starts_down(self, width: int, height: int, left: int) -> Room:
        """Return the tops for which the ellipse of the box at `left` holds the rectangle."""
        return _starts(self.down, height, self.across.diameter * width, self.across.overhang(left, width))

    def room_across(self, width: int, height: int, lefts: Room, tops: Room) -> Room:
        """Return the lefts that hold the rectangle with at least one of the tops."""
        top = self.down.most_central(tops, height).first
        return lefts.meet(self.starts_across(width, height, top))

    def width_below(self, width: int, across: Slide, down: Slide) -> int:
        """Return a width under `width` such that no width between them lets the ellipse hold the rectangle.

        The least overhangs are convex, piecewise linear functions of the size. Of each axis the piece
        that is highest at `width` gives one quadratic inequality that every width must meet as long as
        both pieces are positive. The height is taken at the exact ratio, half a pixel larger in the
        diameters and half a pixel kinder in the overhang, so that no whole height is shut out.
        """
        p = self.across.least_overhang(across, width)
        q = self.down.least_overhang(down, height_at(width, self.ratio))
        top, bottom = self.ratio.numerator, self.ratio.denominator
        a, b = self.across.diameter, self.down.diameter
        # 2 p / a, 2 q ratio / b and width + ratio / 2, each times 2 a b bottom: (constant, factor of the width)
        across_0, across_1 = 4 * bottom * b * p.at, -4 * bottom * b * p.slope
        down_0, down_1 = 2 * a * top * (2 * q.at - abs(q.slope)), -4 * bottom * a * q.slope
        across_axis, down_axis = (across_0, across_1), (down_0, down_1)
        limit_0, limit_1 = a * b * top, 2 * bottom * a * b
        meets = _largest_root_below(
            width,
            across_1**2 + down_1**2 - limit_1**2,
            across_0 * across_1 + down_0 * down_1 - limit_0 * limit_1,
            across_0**2 + down_0**2 - limit_0**2,
        )
        return max(meets, *(_turns_negative_below(width, *line) for line in (across_axis, down_axis)))


def _starts(axis: Axis, size: int, other_diameter: int, other_overhang: int) -> Room:
    """Return the starts on one axis for which the corners are inside, given the overhang on the other."""
    left_over = other_diameter**2 - 4 * other_overhang**2
    if left_over < 0:
        return Room(1, 0)
    diameter = axis.diameter * size
    return axis.starts_within(math.isqrt(diameter**2 * left_over // (4 * other_diameter**2)), size)


def _largest_root_below(width: int, square: int, half_linear: int, constant: int) -> int:
    """Return the largest whole w < width with square w^2 + 2 half_linear w + constant <= 0, 0 for none.

    The inequality bounds a cone, so the widths above 0 that meet it lie side by side.
    """
    if square * width**2 + 2 * half_linear * width + constant <= 0:
        return width - 1
    if square == 0:
        return max(-constant // (2 * half_linear), 0) if half_linear > 0 else 0
    discriminant = half_linear**2 - square * constant
    if square < 0 or discriminant < 0 or square * width < -half_linear:
        return 0  # what meets it is wider than `width`, or nothing is
    return max((math.isqrt(discriminant) - half_linear) // square, 0)


def _turns_negative_below(width: int, constant: int, factor: int) -> int:
    """Return the largest whole w < width with constant + factor w < 0, 0 for none."""
    if constant + factor * width < 0:
        return width - 1
    return max(-(constant // factor) - 1, 0) if factor > 0 else 0


def covered_area(left: float, top: float, right: float, bottom: float) -> float:
    """Return the area that the rectangle left..right, top..bottom shares with the disc of radius 1 at (0, 0)."""
    if left >= right or top >= bottom:
        return 0.0
    whole = _quadrant(right, bottom) - _quadrant(left, bottom) - _quadrant(right, top) + _quadrant(left, top)
    return max(whole, 0.0)


def _quadrant(x: float, y: float) -> float:
    """Return the area of the unit disc left of x and above y."""
    x, y = min(max(x, -1.0), 1.0), min(max(y, -1.0), 1.0)
    if x * x + y * y < 1:
        return x * y + (x * math.sqrt(1 - x * x) + math.asin(x) + y * math.sqrt(1 - y * y) + math.asin(y)) / 2 + math.pi / 4
    if x <= 0 and y <= 0:
        return 0.0
    return math.pi - (_cap(x) if x > 0 else math.pi - _cap(-x)) * (1 if True else 0) - 0.0
