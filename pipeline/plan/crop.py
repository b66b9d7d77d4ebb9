"""The crop: the box of a target's ratio that puts the subject where the eye goes and loses nothing it should hold.

All is decided in whole source pixels with exact fractions (`light.ratio.exact` reads what a person typed). The words:

- A box has a whole width w and a height of w / ratio, rounded half up, and lies in the frame.
- It holds the keep box where that lies inside one of the free parts of the trim, inside the centred
  sub-box of every ratio it is also seen at, and (round shape) with all four corners inside the ellipse
  of the trim; half a source pixel may be missing at each edge. w_max is the largest width that can.
- The cost of a box is 1 - w / w_max. An anchor is reached where the subject stands within half a source
  pixel of it, on both axes for a crossing or a point.
- Thirds: the crossing of least cost if that is at most `reach`, else the line of least cost if that is,
  its free axis as near to a third as it goes; else a box of w_max, nearest to a line and on the other
  axis likewise. Other anchors: the largest box with the subject there, or the w_max box nearest to it.
- Equal costs: the smaller left, then the smaller top.
- Where no box holds the keep box: the largest box that fits, where the most of the keep box's area
  stays visible, then as for w_max. A round shape counts that area in the free part, then prefers the
  place that brings the keep box's farthest corner nearest to the ellipse.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import TYPE_CHECKING, Literal, NamedTuple

from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.light.ellipse import Axis, Ellipse
from pipeline.light.hold import Hold
from pipeline.light.ratio import exact, height_at, narrowest_at, widest_at
from pipeline.light.slide import Bound, Room, Slide, best_room
from pipeline.light.thirds import THIRDS
from pipeline.plan.rendition import Crop

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.rendition import Reached

Anchor = Literal["thirds", "centre"] | Point


@dataclass(frozen=True, slots=True)
class CropRequest:
    """What a crop is asked to do.

    `frame` is in upright pixels. `ratio` is width / height of the box, with its bleed where it has one;
    `trim` is the trim inside the box, as fractions of the box. `subject` and `keep` are fractions of the
    frame. `free` are fractions of the trim, alternatives to each other (none: all is covered).
    `also_seen` are further ratios that the trim is cut to about its centre. `anchor` as a point is in
    fractions of the trim, each 0..1. `reach` (0..1) is the highest cost that an anchor is worth.
    """

    frame: Size
    ratio: Fraction
    subject: Point
    keep: Region | None = None
    trim: Region = WHOLE
    free: tuple[Region, ...] = (WHOLE,)
    also_seen: tuple[Fraction, ...] = ()
    round_shape: bool = False
    anchor: Anchor = "thirds"
    reach: float = 0.0


class _Span(NamedTuple):
    """Two edges on one axis, in fractions of the frame or the box."""

    start: Fraction
    end: Fraction

    @property
    def length(self) -> Fraction:
        """Return how long it is."""
        return self.end - self.start

    def at(self, share: Fraction) -> Fraction:
        """Return the place at that share of the span."""
        return self.start + share * self.length


@dataclass(frozen=True, slots=True)
class _Side:
    """One axis of the frame with all that is asked on it, in integers over `unit`.

    `subject`, `near` and `far` (the keep box with half a pixel taken off each edge) are places in the
    frame. `trim`, `parts` (the visible part of each alternative) and `targets` (the anchor's lines) move
    and grow with the box: they are slopes s, and stand for the place start * unit + s * size.
    """

    side: int
    unit: int
    subject: int
    near: int
    far: int
    trim: tuple[int, int]
    parts: tuple[tuple[int, int], ...]
    targets: tuple[int, ...]

    def slide(self, part: int | None, target: int | None = None) -> Slide:
        """Return where a box can lie so that the visible part holds the keep box and the subject is on the target."""
        slide = Slide.inside(self.side, self.unit)
        if part is not None:
            start, end = self.parts[part]
            slide = slide.between(Bound(self.far, end), Bound(self.near, start))
        if target is not None:
            half = self.unit // 2
            slide = slide.between(Bound(self.subject - half, target), Bound(self.subject + half, target))
        return slide

    def distance(self, start: int, size: int) -> int:
        """Return how far the subject is from the nearest target."""
        return min(abs(start * self.unit + target * size - self.subject) for target in self.targets)

    def nearest(self, room: Room, size: int) -> int:
        """Return the start of `room` with the subject nearest to a target, the smaller of two."""
        ideal = [(self.subject - target * size) // self.unit for target in self.targets]
        starts = {room.clamp(start + step) for start in ideal for step in (0, 1)}
        return min(starts, key=lambda start: (self.distance(start, size), start))

    def subject_at(self, start: int, size: int) -> float:
        """Return where the subject is, as a fraction of the trim."""
        first, last = self.trim
        return (self.subject - start * self.unit - first * size) / ((last - first) * size)

    @property
    def axis(self) -> Axis:
        """Return this axis of the ellipse inscribed in the trim, with the keep box."""
        return Axis(self.unit, sum(self.trim) // 2, self.trim[1] - self.trim[0], self.near, self.far)

    @property
    def keep_length(self) -> int:
        """Return the length of the keep box."""
        return self.far - self.near + self.unit

    def shown(self, part: int, start: int, size: int) -> tuple[int, int]:
        """Return the edges of what the visible part shows of the keep box, the second the smaller where nothing."""
        half, origin = self.unit // 2, start * self.unit
        first, last = (origin + slope * size for slope in self.parts[part])
        return max(first, self.near - half), min(last, self.far + half)

    def shown_length(self, part: int, start: int, size: int) -> int:
        """Return how much of the keep box the visible part shows; negative where they are apart."""
        first, last = self.shown(part, start, size)
        return last - first

    def most_shown(self, part: int, size: int) -> Room:
        """Return the starts in the frame that show the most of the keep box, or miss it by the least."""
        half = self.unit // 2
        start, end = self.parts[part]
        turns = ((self.near - half - start * size, self.unit), (self.far + half - end * size, self.unit))
        return best_room(self.anywhere(size), turns, lambda place: self.shown_length(part, place, size))

    def anywhere(self, size: int) -> Room:
        """Return all starts in the frame."""
        return Room(0, self.side - size)


class _Place(NamedTuple):
    """A box as its width, left and top, with how far its subject is from the anchor (smaller is nearer)."""

    width: int
    away: tuple[int, int]
    left: int
    top: int


_Targets = tuple[int | None, int | None]
_NOWHERE: _Targets = (None, None)


@dataclass(frozen=True, slots=True)
class _Scene:
    """The request in integers: both sides of the frame, and the stages in which anchors are tried.

    A stage is a set of targets of equal worth; `parts` are the alternatives, or None alone where there
    is nothing to hold.
    """

    ratio: Fraction
    across: _Side
    down: _Side
    ellipse: Ellipse | None
    parts: tuple[int | None, ...]
    stages: tuple[tuple[_Targets, ...], ...]
    point: bool

    def largest(self, targets: _Targets, least: int) -> _Place | None:
        """Return the largest box of at least `least` that holds the keep box with the subject on the targets.

        On an axis without a target the subject is as near to one of the anchor's lines as it goes.
        """
        found: list[tuple[int, Hold]] = []
        for part in self.parts:
            across, down = self.across.slide(part, targets[0]), self.down.slide(part, targets[1])
            hold = Hold(self.ratio, across, down, self.ellipse)
            width = hold.widest(least)
            if width:
                found.append((width, hold))
                least = width
        rooms = (rooms for width, hold in found if width == least for rooms in hold.rooms(width))
        places = (self.place(least, *pair, targets) for pair in rooms if not (pair[0].empty or pair[1].empty))
        return min(places, default=None)

    def place(self, width: int, lefts: Room, tops: Room, targets: _Targets = _NOWHERE) -> _Place:
        """Return the box of lefts x tops with its subject nearest to the anchor, then the smaller left, then top."""
        height = height_at(width, self.ratio)
        left, top, aside, above = lefts.first, tops.first, 0, 0
        if targets[0] is None:
            left = self.across.nearest(lefts, width)
            aside = self.across.distance(left, width)
        if targets[1] is None:
            top = self.down.nearest(tops, height)
            above = self.down.distance(top, height)
        away = (aside**2 + above**2, 0) if self.point else (min(aside, above), max(aside, above))
        return _Place(width, away, left, top)

    def reaching(self, least: int) -> _Place | None:
        """Return the box of the first stage that has one of at least `least`: the largest, then left, then top."""
        for stage in self.stages:
            found = []
            for targets in stage:
                place = self.largest(targets, least)
                if place is not None:
                    found.append(place)
                    least = place.width
            if found:
                return min(found, key=lambda place: (-place.width, place.left, place.top))
        return None

    def losing_least(self, width: int) -> _Place:
        """Return the largest box in the frame, where it shows the most of the keep box."""
        height = height_at(width, self.ratio)
        found = []
        for area, lefts, tops in self._most_shown(width, height):
            strain = 0
            if self.ellipse is not None:
                lefts, tops = self.ellipse.most_central(width, height, lefts, tops)  # noqa: PLW2901 (narrowed)
                strain = self.ellipse.strain(width, height, lefts.first, tops.first)
            found.append((-area, strain, self.place(width, lefts, tops)))
        return min(found)[-1]

    def _most_shown(self, width: int, height: int) -> Iterator[tuple[int, Room, Room]]:
        """Yield the most area of the keep box that each part can show, with the lefts and tops that do; 0 anywhere."""
        yield 0, self.across.anywhere(width), self.down.anywhere(height)
        for part in range(len(self.across.parts)):
            lefts, tops = self.across.most_shown(part, width), self.down.most_shown(part, height)
            lengths = (
                self.across.shown_length(part, lefts.first, width),
                self.down.shown_length(part, tops.first, height),
            )
            if min(lengths) > 0:
                yield lengths[0] * lengths[1], lefts, tops

    def reached(self, box: Box) -> Reached:
        """Return which anchor the subject stands on within half a pixel."""
        across = self.across.distance(box.left, box.width) <= self.across.unit // 2
        down = self.down.distance(box.top, box.height) <= self.down.unit // 2
        if self.point:
            return "point" if across and down else "no"
        if across and down:
            return "crossing"
        return "line" if across or down else "no"

    def subject_at(self, box: Box) -> Point:
        """Return where the subject lands, as fractions of the trim."""
        return Point(self.across.subject_at(box.left, box.width), self.down.subject_at(box.top, box.height))

    def lost(self, box: Box) -> float:
        """Return the share of the keep box that the best part does not show; of a round shape, outside its ellipse."""
        pixel = self.across.unit * self.down.unit
        whole = self.across.keep_length * self.down.keep_length / pixel
        shown = [0.0]
        for part in range(len(self.across.parts)):
            left, right = self.across.shown(part, box.left, box.width)
            top, bottom = self.down.shown(part, box.top, box.height)
            if left < right and top < bottom:
                area = (right - left) * (bottom - top) / pixel
                shown.append(self.ellipse.covered(box, left, top, right, bottom) if self.ellipse else area)
        return max(0.0, 1 - max(shown) / whole) if whole else 1.0


@functools.lru_cache(maxsize=8192)  # a plan is made twice where files were delivered before
def find_crop(request: CropRequest) -> Crop:
    """Return the crop that the rules at the top of this module ask for.

    `keep_lost` is 0 where the keep box is held (within the half pixel), else above 0. Raises ValueError
    where no whole box of the ratio fits into the frame.
    """
    frame, ratio = request.frame, request.ratio
    fitting = min(frame.width, widest_at(frame.height, ratio))
    if fitting < narrowest_at(1, ratio):
        raise ValueError(
            f"no box of ratio {ratio} fits into {frame.width} x {frame.height} pixels; a squarer one would"
        )
    scene = _scene(request)
    place = scene.largest(_NOWHERE, 1)
    lost = place is None
    if place is None:
        place = scene.losing_least(fitting)
    else:
        least = math.ceil(place.width * (1 - exact(request.reach)))
        place = scene.reaching(max(least, 1)) or place
    box = Box(place.left, place.top, place.width, height_at(place.width, ratio))
    return Crop(
        box=box,
        subject_at=scene.subject_at(box),
        reached=scene.reached(box),
        kept=box.size.pixels / frame.pixels,
        keep_lost=scene.lost(box) if lost else 0.0,
    )


class _Demand(NamedTuple):
    """One axis of the request in exact fractions: places in the frame in pixels, the rest of the box."""

    side: int
    subject: Fraction
    keep: _Span
    trim: _Span
    parts: tuple[_Span, ...]
    targets: tuple[Fraction, ...]

    def numbers(self) -> Iterator[Fraction]:
        """Yield every fraction."""
        yield self.subject
        yield from self.targets
        for span in (self.keep, self.trim, *self.parts):
            yield from span

    def over(self, unit: int) -> _Side:
        """Return the axis in integers over a unit that suits every fraction."""

        def count(number: Fraction) -> int:
            return int(number * unit)

        return _Side(
            side=self.side,
            unit=unit,
            subject=count(self.subject),
            near=count(self.keep.start) + unit // 2,
            far=count(self.keep.end) - unit // 2,
            trim=(count(self.trim.start), count(self.trim.end)),
            parts=tuple((count(part.start), count(part.end)) for part in self.parts),
            targets=tuple(map(count, self.targets)),
        )


def _scene(request: CropRequest) -> _Scene:
    """Return the request in integers over one unit for both axes."""
    point = _anchor_point(request.anchor)
    trims = _spans(request.trim)
    trim_ratio = request.ratio * trims[0].length / trims[1].length
    seen = (
        min([Fraction(1), *(ratio / trim_ratio for ratio in request.also_seen)]),
        min([Fraction(1), *(trim_ratio / ratio for ratio in request.also_seen)]),
    )
    across, down = (
        _demand(request, axis, trims[axis], seen[axis], THIRDS if point is None else (point[axis],)) for axis in (0, 1)
    )
    # A quarter of the common unit, so that half a pixel and the middle between two places are whole too.
    unit = 4 * math.lcm(*(number.denominator for number in (*across.numbers(), *down.numbers())))
    sides = across.over(unit), down.over(unit)
    points: tuple[_Targets, ...] = tuple(product(sides[0].targets, sides[1].targets))
    lines: tuple[_Targets, ...] = (
        *((target, None) for target in sides[0].targets),
        *((None, target) for target in sides[1].targets),
    )
    return _Scene(
        ratio=request.ratio,
        across=sides[0],
        down=sides[1],
        ellipse=Ellipse(sides[0].axis, sides[1].axis, request.ratio) if request.round_shape and request.keep else None,
        parts=tuple(range(len(request.free))) if request.keep else (None,),
        stages=(points,) if point else (points, lines),
        point=point is not None,
    )


def _demand(
    request: CropRequest, axis: Literal[0, 1], trim: _Span, seen: Fraction, lines: tuple[Fraction, ...]
) -> _Demand:
    """Return one axis (0 across, 1 down); `seen` is the share of the trim in the middle that is always seen."""
    side = (request.frame.width, request.frame.height)[axis]
    keep = _spans(request.keep or WHOLE)[axis]
    margin = (1 - seen) / 2
    parts = (_spans(part)[axis] for part in request.free)
    return _Demand(
        side=side,
        subject=exact((request.subject.x, request.subject.y)[axis]) * side,
        keep=_Span(keep.start * side, keep.end * side),
        trim=trim,
        parts=tuple(_Span(trim.at(max(part.start, margin)), trim.at(min(part.end, 1 - margin))) for part in parts),
        targets=tuple(map(trim.at, lines)),
    )


def _spans(region: Region) -> tuple[_Span, _Span]:
    """Return a region across and down."""
    return _Span(exact(region.left), exact(region.right)), _Span(exact(region.top), exact(region.bottom))


def _anchor_point(anchor: Anchor) -> tuple[Fraction, Fraction] | None:
    """Return the one point of an anchor, in fractions of the trim; None for the thirds, which have four."""
    if anchor == "thirds":
        return None
    if anchor == "centre":
        return Fraction(1, 2), Fraction(1, 2)
    return exact(anchor.x), exact(anchor.y)
