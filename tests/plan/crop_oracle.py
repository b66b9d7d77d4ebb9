"""The crop by trying every box: each whole width, left and top, judged straight from the rules in words.

Slow and plain on purpose, for frames of a few dozen pixels. It shares only the types with what it judges.
Fractions are read as the nearest one with at most six digits below the line, as the rules say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from pipeline.light.box import Box

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.light.box import Region
    from pipeline.plan.crop import CropRequest
    from pipeline.plan.rendition import Reached

HALF = Fraction(1, 2)
ONE, TWO = Fraction(1, 3), Fraction(2, 3)
Edges = tuple[Fraction, Fraction]


def number(value: float) -> Fraction:
    return Fraction(value).limit_denominator(10**6)


def across(region: Region) -> Edges:
    return number(region.left), number(region.right)


def down(region: Region) -> Edges:
    return number(region.top), number(region.bottom)


@dataclass(frozen=True)
class Stretch:
    """A box on one axis: where it starts, where it ends, and its trim."""

    start: int
    end: int
    trim: Edges

    def at(self, share: Fraction) -> Fraction:
        """Return the place at that share of the trim, in frame pixels."""
        size = self.end - self.start
        first, last = self.start + self.trim[0] * size, self.start + self.trim[1] * size
        return first + share * (last - first)

    def holds(self, keep: Edges, part: Edges) -> bool:
        """Return whether that part of the trim holds the keep box, with half a pixel missing at each edge."""
        return self.at(part[0]) <= keep[0] + HALF and self.at(part[1]) >= keep[1] - HALF

    def shows(self, keep: Edges, part: Edges) -> Fraction:
        """Return how much of the keep box that part shows."""
        return max(Fraction(0), min(self.at(part[1]), keep[1]) - max(self.at(part[0]), keep[0]))

    def corner(self, keep: Edges) -> Fraction:
        """Return how far the keep box, half a pixel off each edge, reaches from the centre, in half diameters."""
        centre, radius = self.at(HALF), (self.at(Fraction(1)) - self.at(Fraction(0))) / 2
        reach = max(centre - (keep[0] + HALF), (keep[1] - HALF) - centre, Fraction(0))
        return reach / radius


class Oracle:
    def __init__(self, request: CropRequest) -> None:
        self.request = request
        width, height = request.frame.width, request.frame.height
        self.subject = number(request.subject.x) * width, number(request.subject.y) * height
        self.keep: tuple[Edges, Edges] | None = None
        if request.keep is not None:
            left, right = across(request.keep)
            top, bottom = down(request.keep)
            self.keep = (left * width, right * width), (top * height, bottom * height)
        self.stretches: dict[tuple[int, int, int], Judged] = {}

    def judged(self, axis: int, start: int, size: int) -> Judged:
        """Return one axis of a box, judged once for all boxes that share it."""
        key = (axis, start, size)
        if key not in self.stretches:
            trim = (across, down)[axis](self.request.trim)
            self.stretches[key] = Judged(self, axis, Stretch(start, start + size, trim))
        return self.stretches[key]

    def height(self, width: int) -> int:
        return math.floor(Fraction(width) / self.request.ratio + HALF)

    def boxes(self) -> Iterator[Box]:
        """Yield every box of the ratio in the frame."""
        frame = self.request.frame
        for width in range(1, frame.width + 1):
            height = self.height(width)
            if 1 <= height <= frame.height:
                for left in range(frame.width - width + 1):
                    for top in range(frame.height - height + 1):
                        yield Box(left, top, width, height)

    def axes(self, box: Box) -> tuple[Judged, Judged]:
        return self.judged(0, box.left, box.width), self.judged(1, box.top, box.height)

    def held(self, box: Box) -> bool:
        """Return whether the box holds the keep box."""
        if self.keep is None:
            return True
        x, y = self.axes(box)
        if not any(one and other for one, other in zip(x.in_free, y.in_free, strict=True)):
            return False
        if not (x.in_seen and y.in_seen):
            return False
        return not self.request.round_shape or x.corner_squared + y.corner_squared <= 1

    def find(self) -> tuple[Box, Reached]:
        """Return the box that the rules ask for, and what it reaches."""
        box = self.box()
        return box, self.reached(box)

    def reached(self, box: Box) -> Reached:
        """Return which anchor the subject stands on."""
        x, y = self.axes(box)
        if self.request.anchor != "thirds":
            return "point" if x.on[0] and y.on[0] else "no"
        if any(x.on) and any(y.on):
            return "crossing"
        return "line" if any(x.on) or any(y.on) else "no"

    def box(self) -> Box:
        holding = [box for box in self.boxes() if self.held(box)]
        if not holding:
            return self.least_lost()
        widest = max(box.width for box in holding)
        affordable = [box for box in holding if 1 - Fraction(box.width, widest) <= number(self.request.reach)]
        if self.request.anchor != "thirds":
            there = [box for box in affordable if all(axis.on[0] for axis in self.axes(box))]
            if there:
                return min(there, key=lambda box: (-box.width, box.left, box.top))
        else:
            found = self.crossing(affordable) or self.line(affordable)
            if found:
                return found
        return min((box for box in holding if box.width == widest), key=self.nearness)

    def nearness(self, box: Box) -> tuple[Fraction, Fraction, int, int]:
        """Return how near the subject is to the anchor: to a line and then on the other axis, or to the point."""
        x, y = self.axes(box)
        if self.request.anchor != "thirds":
            return x.distance**2 + y.distance**2, Fraction(0), box.left, box.top
        nearer, farther = sorted((x.distance, y.distance))
        return nearer, farther, box.left, box.top

    def crossing(self, boxes: list[Box]) -> Box | None:
        """Return the largest box with the subject on a crossing; then the smaller left, then the smaller top."""
        found = []
        for i in range(2):
            for j in range(2):
                on = [box for box in boxes if self.axes(box)[0].on[i] and self.axes(box)[1].on[j]]
                if on:
                    largest = max(box.width for box in on)
                    exact = [box for box in on if box.width == largest]
                    found.append(
                        min(
                            exact,
                            key=lambda box: (
                                self.axes(box)[0].distances[i],
                                self.axes(box)[1].distances[j],
                                box.left,
                                box.top,
                            ),
                        )
                    )
        return min(found, key=lambda box: (-box.width, box.left, box.top), default=None)

    def line(self, boxes: list[Box]) -> Box | None:
        """Return the largest box with the subject on a line, its other axis as near to a third as it goes."""
        found = []
        for axis in range(2):
            for i in range(2):
                on = [box for box in boxes if self.axes(box)[axis].on[i]]
                if on:
                    largest = max(box.width for box in on)
                    found.append(
                        min(
                            (box for box in on if box.width == largest),
                            key=lambda box: (
                                self.axes(box)[axis].distances[i],
                                self.axes(box)[1 - axis].distance,
                                box.left,
                                box.top,
                            ),
                        )
                    )
        return min(found, key=lambda box: (-box.width, box.left, box.top), default=None)

    def least_lost(self) -> Box:
        """Return the largest box, where the most of the keep box shows, then nearest to the anchor."""
        boxes = list(self.boxes())
        largest = max(box.width for box in boxes)
        return min(
            (box for box in boxes if box.width == largest),
            key=lambda box: (-self.shown(box), self.strain(box), *self.nearness(box)),
        )

    def strain(self, box: Box) -> Fraction:
        """Return how far out the farthest corner of the keep box is, of a round shape."""
        x, y = self.axes(box)
        return x.corner_squared + y.corner_squared if self.request.round_shape else Fraction(0)

    def shown(self, box: Box) -> Fraction:
        """Return the area of the keep box that the best part shows."""
        x, y = self.axes(box)
        return max((one * other for one, other in zip(x.shown, y.shown, strict=True)), default=Fraction(0))


class Judged:
    """What the rules say about one axis of a box."""

    def __init__(self, oracle: Oracle, axis: int, stretch: Stretch) -> None:
        request = oracle.request
        self.stretch = stretch
        self.subject = oracle.subject[axis]
        self.keep = oracle.keep[axis] if oracle.keep else (Fraction(0), Fraction(0))
        self.free = [(across, down)[axis](part) for part in request.free]
        # The trim as fractions of the box, so that its ratio is that of the target and not of whole pixels.
        trim_left, trim_right = across(request.trim)
        trim_top, trim_bottom = down(request.trim)
        trim_ratio = request.ratio * (trim_right - trim_left) / (trim_bottom - trim_top)
        self.seen: list[Edges] = []
        for ratio in request.also_seen:
            share = min(Fraction(1), ratio / trim_ratio if axis == 0 else trim_ratio / ratio)
            self.seen.append(((1 - share) / 2, (1 + share) / 2))
        if request.anchor == "thirds":
            targets = [ONE, TWO]
        elif request.anchor == "centre":
            targets = [HALF]
        else:
            targets = [number((request.anchor.x, request.anchor.y)[axis])]
        self.distances = [abs(stretch.at(target) - self.subject) for target in targets]
        self.on = [distance <= HALF for distance in self.distances]
        self.distance = min(self.distances)

    @cached_property
    def in_free(self) -> list[bool]:
        return [self.stretch.holds(self.keep, part) for part in self.free]

    @cached_property
    def in_seen(self) -> bool:
        return all(self.stretch.holds(self.keep, part) for part in self.seen)

    @cached_property
    def corner_squared(self) -> Fraction:
        return self.stretch.corner(self.keep) ** 2

    @cached_property
    def shown(self) -> list[Fraction]:
        """Return how much of the keep box each part shows, as far as it is also seen."""
        return [
            self.stretch.shows(
                self.keep,
                (max([start, *(seen[0] for seen in self.seen)]), min([end, *(seen[1] for seen in self.seen)])),
            )
            for start, end in self.free
        ]
