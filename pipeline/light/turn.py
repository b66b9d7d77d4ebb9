"""Levelling: a frame turned about its centre, and the upright rectangle inside it that has no empty corner.

Angles are in degrees, positive clockwise, y grows downwards. A turn of 0 changes nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from pipeline.light.box import Box, Point, Region, Size

STEEPEST_DEG = 45.0
# Places are worked out in floating point; what misses a whole pixel by less is that pixel.
SLACK_PX = 1e-6
A_PIXEL = 1.0

Place = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Turn:
    """A turn of an upright frame of `frame` pixels by `degrees` (-45..45), at its own scale.

    The *turned frame* is the largest upright rectangle of whole pixels inside the turned picture, with the same
    centre; its pixels are as large as the frame's. Points and regions of it are fractions of it, like those of a frame.
    """

    frame: Size
    degrees: float

    @property
    def cosine(self) -> float:
        """Return the cosine of the turn."""
        return math.cos(math.radians(self.degrees))

    @property
    def sine(self) -> float:
        """Return the sine of the turn, positive for clockwise."""
        return math.sin(math.radians(self.degrees))

    @property
    def size(self) -> Size:
        """Return the size of the turned frame.

        Where a thin frame is turned far, two opposite corners of the rectangle lie on the long sides (any such one is
        as large as another); else all four corners lie on the four sides.
        """
        if not self.degrees:
            return self.frame
        width, height = self.frame.width, self.frame.height
        cosine, sine = self.cosine, abs(self.sine)
        long, short = max(width, height), min(width, height)
        if short <= 2 * sine * cosine * long:
            half = short / 2
            across, down = half / sine, half / cosine
            if width < height:
                across, down = down, across
        else:
            spread = cosine**2 - sine**2
            across = (width * cosine - height * sine) / spread
            down = (height * cosine - width * sine) / spread
        return Size(max(1, math.floor(across + SLACK_PX)), max(1, math.floor(down + SLACK_PX)))

    def point(self, point: Point) -> Point:
        """Return where a point of the frame is in the turned frame; outside 0..1 where the turn cuts it off."""
        return Point(*self._place(point.x, point.y)) if self.degrees else point

    def _place(self, x: float, y: float) -> Place:
        turned = self.size
        across, down = (x - 0.5) * self.frame.width, (y - 0.5) * self.frame.height
        right, below = across * self.cosine - down * self.sine, across * self.sine + down * self.cosine
        return right / turned.width + 0.5, below / turned.height + 0.5

    def region(self, region: Region) -> Region:
        """Return the upright rectangle in the turned frame that holds a region of the frame; may reach outside 0..1."""
        if not self.degrees:
            return region
        corners = [self._place(x, y) for x in (region.left, region.right) for y in (region.top, region.bottom)]
        across, down = zip(*corners, strict=True)
        return Region(min(across), min(down), max(across), max(down))

    def lost(self, region: Region) -> float:
        """Return the share (0..1) of a region's area that is not in the turned frame; 0 within a pixel."""
        turned, held = self.size, self.region(region)
        across, down = max(-held.left, held.right - 1), max(-held.top, held.bottom - 1)
        if max(across * turned.width, down * turned.height) <= A_PIXEL:
            return 0.0
        across_then_down = (region.left, region.top), (region.right, region.top), (region.right, region.bottom)
        shape = [self._place(*corner) for corner in (*across_then_down, (region.left, region.bottom))]
        inside = shape
        for axis in (0, 1):
            inside = _above(_above(inside, axis, 0.0, 1), axis, 1.0, -1)
        return max(0.0, 1 - _area(inside) / _area(shape))

    def source(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place of the turned frame is in the frame; both in pixels from their own top-left corners."""
        turned = self.size
        right, below = x - turned.width / 2, y - turned.height / 2
        return (
            right * self.cosine + below * self.sine + self.frame.width / 2,
            below * self.cosine - right * self.sine + self.frame.height / 2,
        )

    def covered(self, box: Box, margin: float) -> Box:
        """Return the box of the frame that a box of the turned frame is made from, `margin` pixels around it too."""
        corners = [self.source(x, y) for x in (box.left, box.right) for y in (box.top, box.bottom)]
        across, down = zip(*corners, strict=True)
        left, top = (max(0, math.floor(min(places) - margin)) for places in (across, down))
        right = min(self.frame.width, math.ceil(max(across) + margin))
        bottom = min(self.frame.height, math.ceil(max(down) + margin))
        return Box(left, top, right - left, bottom - top)


def _above(shape: list[Place], axis: int, limit: float, sign: int) -> list[Place]:
    """Return the part of a convex shape (corners in order) with a coordinate over a limit, or under it (sign -1)."""
    over = [sign * (place[axis] - limit) for place in shape]
    kept: list[Place] = []
    for number, (place, here) in enumerate(zip(shape, over, strict=True)):
        before, there = shape[number - 1], over[number - 1]
        if here * there < 0:
            share = there / (there - here)
            kept.append((before[0] + share * (place[0] - before[0]), before[1] + share * (place[1] - before[1])))
        if here >= 0:
            kept.append(place)
    return kept


def _area(shape: list[Place]) -> float:
    """Return the area within corners in order."""
    pairs = zip(shape, shape[1:] + shape[:1], strict=True)
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in pairs)) / 2
