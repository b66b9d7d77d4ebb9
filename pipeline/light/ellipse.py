"""Ellipses in boxes: whether one holds a rectangle, for which sizes it can, and how much it covers.

The ellipse is inscribed in a part of a box that slides and grows; the rectangle stands still. It is
held where all four corners are inside: (2 p / a)^2 + (2 q / b)^2 <= 1, with a and b the diameters and
p and q the overhang on each axis, which is how far the farther side of the rectangle is from the centre.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.ratio import height_at, widest_at
from pipeline.light.slide import Bound, Room, Slide, best_room

if TYPE_CHECKING:
    from fractions import Fraction

    from pipeline.light.box import Box


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

    def radius_px(self, size: int) -> float:
        """Return the radius in pixels."""
        return self.diameter * size / (2 * self.unit)

    def in_radii(self, place: int, start: int, size: int) -> float:
        """Return how far a place is right of (or below) the centre, in radii."""
        return 2 * (place - start * self.unit - self.centre * size) / (self.diameter * size)

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

    def room_down(self, width: int, height: int, lefts: Room, tops: Room) -> Room:
        """Return the tops that hold the rectangle with at least one of the lefts."""
        left = self.across.most_central(lefts, width).first
        return tops.meet(self.starts_down(width, height, left))

    def most_central(self, width: int, height: int, lefts: Room, tops: Room) -> tuple[Room, Room]:
        """Return the lefts and tops that bring the farthest corner of the rectangle nearest to the ellipse."""
        return self.across.most_central(lefts, width), self.down.most_central(tops, height)

    def strain(self, width: int, height: int, left: int, top: int) -> int:
        """Return how far out the farthest corner is, as a number to compare boxes of one size by."""
        a, b = self.across.diameter * width, self.down.diameter * height
        return (b * self.across.overhang(left, width)) ** 2 + (a * self.down.overhang(top, height)) ** 2

    def covered(self, box: Box, left: int, top: int, right: int, bottom: int) -> float:
        """Return the area in square pixels that a rectangle, in units, shares with the ellipse of the box."""
        x0, x1 = self.across.in_radii(left, box.left, box.width), self.across.in_radii(right, box.left, box.width)
        y0, y1 = self.down.in_radii(top, box.top, box.height), self.down.in_radii(bottom, box.top, box.height)
        return self.across.radius_px(box.width) * self.down.radius_px(box.height) * disc_area(x0, y0, x1, y1)

    def width_below(self, width: int, across: Slide, down: Slide) -> int:
        """Return a width under `width` such that no width between them lets the ellipse hold the rectangle.

        The least overhangs are convex, piecewise linear functions of the size. Of each axis the piece
        that is highest here gives one quadratic inequality, in the width as well as in the height: a
        whole box is off the exact ratio by up to half a pixel of height, and what that forgives on one
        axis would hide a thin rectangle's limit on the other.
        """
        height = height_at(width, self.ratio)
        top, bottom = self.ratio.numerator, self.ratio.denominator
        p, q = self.across.least_overhang(across, width), self.down.least_overhang(down, height)
        x, y = (p, self.across.diameter), (q, self.down.diameter)
        by_width = _most_within(width, x, y, scale=2 * bottom, ratio=2 * top, slack=top)
        by_height = _most_within(height, y, x, scale=2 * top, ratio=2 * bottom, slack=top)
        return min(width - 1, by_width, widest_at(by_height, self.ratio))


def _starts(axis: Axis, size: int, other_diameter: int, other_overhang: int) -> Room:
    """Return the starts on one axis for which the corners are inside, given the overhang on the other."""
    left_over = other_diameter**2 - 4 * other_overhang**2
    if left_over < 0:
        return Room(1, 0)
    diameter = axis.diameter * size
    return axis.starts_within(math.isqrt(diameter**2 * left_over // (4 * other_diameter**2)), size)


def _most_within(
    size: int, first: tuple[Bound, int], second: tuple[Bound, int], scale: int, ratio: int, slack: int
) -> int:
    """Return the largest size up to `size`, on the first axis, for which an ellipse may hold a rectangle.

    Each axis is a limit no overhang is under, and the diameter per pixel of size. The size on the second
    axis is size / k within e, with k = ratio / scale and k e = slack / scale. Of the condition, times size
    squared, (2 p / a)^2 + (2 q / b * size / second size)^2 <= size^2, the second term is at least 2 q k / b - k e,
    because 2 q / b is at most the second size, and that at most size / k + e.
    """
    (p, a), (q, b) = first, second
    # All three terms times a b scale, each as constant, factor of the size.
    x0, x1 = 2 * b * scale * p.at, -2 * b * scale * p.slope
    y0, y1 = 2 * a * (ratio * q.at - slack * abs(q.slope)) - a * b * slack, -2 * a * scale * q.slope
    if y0 + y1 * size < 0:  # by what is forgiven: an overhang is never under 0
        y0 = y1 = 0
    meets = _largest_root(size, x1**2 + y1**2 - (a * b * scale) ** 2, x0 * x1 + y0 * y1, x0**2 + y0**2)
    # The inequality binds only while both terms are positive.
    return max(meets, _last_negative(x0, x1), _last_negative(y0, y1))


def _largest_root(size: int, square: int, half_linear: int, constant: int) -> int:
    """Return the largest whole s <= size with square s^2 + 2 half_linear s + constant <= 0, 0 for none.

    The inequality bounds a cone, so the sizes above 0 that meet it lie side by side.
    """
    if square * size**2 + 2 * half_linear * size + constant <= 0:
        return size
    if square == 0:
        return max(-constant // (2 * half_linear), 0) if half_linear > 0 else 0
    discriminant = half_linear**2 - square * constant
    if square < 0 or discriminant < 0 or square * size < -half_linear:
        return 0  # what meets it is larger than `size`, or nothing is
    return max((math.isqrt(discriminant) - half_linear) // square, 0)


def _last_negative(constant: int, factor: int) -> int:
    """Return the largest whole s with constant + factor s < 0 where that rises, else 0."""
    return max(-(constant // factor) - 1, 0) if factor > 0 else 0


def disc_area(left: float, top: float, right: float, bottom: float) -> float:
    """Return the area that the rectangle shares with the disc of radius 1 about (0, 0)."""
    if left >= right or top >= bottom:
        return 0.0
    whole = _quadrant(right, bottom) - _quadrant(left, bottom) - _quadrant(right, top) + _quadrant(left, top)
    return max(whole, 0.0)


def _quadrant(x: float, y: float) -> float:
    """Return the area of the unit disc left of x and above y."""
    x, y = min(max(x, -1.0), 1.0), min(max(y, -1.0), 1.0)
    if x * x + y * y < 1:
        return (
            x * y
            + (x * math.sqrt(1 - x * x) + math.asin(x) + y * math.sqrt(1 - y * y) + math.asin(y) + math.pi / 2) / 2
        )
    if x > 0 and y > 0:
        return math.pi - _cap(x) - _cap(y)
    return math.pi - _cap(min(x, y)) if x > 0 or y > 0 else 0.0


def _cap(x: float) -> float:
    """Return the area of the unit disc right of x."""
    return math.acos(x) - x * math.sqrt(1 - x * x)
