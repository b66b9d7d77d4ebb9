"""Where a stretch of whole pixels can lie along one side of a frame.

A stretch has a `start` and a `size`, both whole pixels. All that is asked of it is linear: its start
is at least, or at most, (at - slope * size) / unit. The numbers are integers over one `unit`, so that
every answer is exact; slopes are never negative: a larger stretch never has to start further right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


class Bound(NamedTuple):
    """The limit (at - slope * size) / unit of a start."""

    at: int
    slope: int


class Room(NamedTuple):
    """The starts first..last; none where first > last."""

    first: int
    last: int

    @property
    def empty(self) -> bool:
        """Return whether there is no start."""
        return self.first > self.last

    def meet(self, other: Room) -> Room:
        """Return the starts that are in both."""
        return Room(max(self.first, other.first), min(self.last, other.last))

    def clamp(self, start: int) -> int:
        """Return the start in this room that is nearest to `start`."""
        return min(max(start, self.first), self.last)


@dataclass(frozen=True, slots=True)
class Slide:
    """All lower and upper bounds of the start of a stretch inside a frame's side of `side` pixels."""

    side: int
    unit: int
    lowers: tuple[Bound, ...]
    uppers: tuple[Bound, ...]

    @classmethod
    def inside(cls, side: int, unit: int) -> Slide:
        """Return the slide that only asks the stretch to lie in the frame."""
        return cls(side, unit, (Bound(0, 0),), (Bound(side * unit, unit),))

    def between(self, lower: Bound, upper: Bound) -> Slide:
        """Return this slide with two more bounds."""
        return Slide(self.side, self.unit, (*self.lowers, lower), (*self.uppers, upper))

    def room(self, size: int) -> Room:
        """Return the whole starts that a stretch of `size` can have."""
        first = max(at - slope * size for at, slope in self.lowers)
        last = min(at - slope * size for at, slope in self.uppers)
        return Room(-(-first // self.unit), last // self.unit)

    def sizes(self) -> tuple[int, int]:
        """Return the least and the most size for which some start, whole or not, meets all bounds.

        Each pair of a lower and an upper bound is one linear inequality in the size; where they
        contradict each other the least is above the most.
        """
        least, most = 1, self.side
        for low_at, low_slope in self.lowers:
            for up_at, up_slope in self.uppers:
                slope, gap = low_slope - up_slope, low_at - up_at
                if slope > 0:
                    least = max(least, -(-gap // slope))
                elif slope < 0:
                    most = min(most, gap // slope)
                elif gap > 0:
                    return 1, 0
        return least, most

    def below(self, size: int) -> int:
        """Return the largest size under `size` that may have room, given that `size` has none; 0 for none.

        The gap between the bounds then lies between two whole starts. Both bounds rise as the size
        falls, so nothing fits before every upper bound has risen to the next whole start.
        """
        start = min(at - slope * size for at, slope in self.uppers) // self.unit + 1
        below = size - 1
        for at, slope in self.uppers:
            if slope:
                below = min(below, (at - start * self.unit) // slope)
            elif at < start * self.unit:
                return 0
        return max(below, 0)


def best_room(room: Room, turns: Iterable[tuple[int, int]], score: Callable[[int], int]) -> Room:
    """Return the starts of `room` with the highest `score`, a concave function of the start.

    `turns` are the places at - over / unit, as (over, unit), where its slope changes. The best
    starts then lie side by side, and the outermost of them next to a turn or at an end of the room.
    """
    starts = {room.clamp(over // unit + step) for over, unit in turns for step in (0, 1)}
    best = max(map(score, starts))
    best_starts = [start for start in starts if score(start) == best]
    return Room(min(best_starts), max(best_starts))
