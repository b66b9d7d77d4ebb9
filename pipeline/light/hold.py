"""The largest box of a ratio that meets linear bounds on both axes, and an ellipse where there is one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.ratio import height_at, narrowest_at, widest_at
from pipeline.light.slide import Room

if TYPE_CHECKING:
    from collections.abc import Iterator
    from fractions import Fraction

    from pipeline.light.ellipse import Ellipse
    from pipeline.light.slide import Slide


@dataclass(frozen=True, slots=True)
class Hold:
    """The boxes of one `ratio` (width / height) that meet the bounds on both axes and hold what `ellipse` says."""

    ratio: Fraction
    across: Slide
    down: Slide
    ellipse: Ellipse | None

    def widest(self, least: int) -> int:
        """Return the largest width of such a box, 0 where it would be under `least`.

        The linear inequalities of both axes give a bound in closed form. Two whole pixels can spoil it:
        the start of the box, where its bounds meet between two pixels, and the rounded height. They cost
        a few steps down, or many where two bounds meet at nearly the same slope; so that these stay cheap
        too, each step goes straight to the next width at which a bound has come to a whole start
        (`Slide.below`), or the corners of the keep box to the ellipse (`Ellipse.width_below`).
        """
        least_width, most_width = self.across.sizes()
        least_height, most_height = self.down.sizes()
        least = max(least, least_width, narrowest_at(least_height, self.ratio))
        width = min(most_width, widest_at(most_height, self.ratio))
        while width >= least:
            height = height_at(width, self.ratio)
            lefts, tops = self.across.room(width), self.down.room(height)
            if lefts.empty:
                width = self.across.below(width)
            elif tops.empty:
                width = widest_at(self.down.below(height), self.ratio)
            elif self.ellipse is not None and self.ellipse.room_across(width, height, lefts, tops).empty:
                width = self.ellipse.width_below(width, self.across, self.down)
            else:
                return width
        return 0

    def rooms(self, width: int) -> Iterator[tuple[Room, Room]]:
        """Yield lefts and tops such that each left goes with each top; together they are all such boxes of `width`."""
        height = height_at(width, self.ratio)
        lefts, tops = self.across.room(width), self.down.room(height)
        if self.ellipse is None:
            yield lefts, tops
            return
        lefts, tops = (
            self.ellipse.room_across(width, height, lefts, tops),
            self.ellipse.room_down(width, height, lefts, tops),
        )
        if lefts.last - lefts.first < tops.last - tops.first:
            for left in range(lefts.first, lefts.last + 1):
                yield Room(left, left), tops.meet(self.ellipse.starts_down(width, height, left))
        else:
            for top in range(tops.first, tops.last + 1):
                yield lefts.meet(self.ellipse.starts_across(width, height, top)), Room(top, top)
