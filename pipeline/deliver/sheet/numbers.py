"""Where the numbers of the crops stand on a frame's picture."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.box import Box, Point, Region, Size

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

# A number on the frame's picture is 25 CSS px wide (WCAG 2.2, 2.5.8 asks for 24) and must find room where the
# picture is narrowest: 288 px, on a page of 320.
_TAG_SHARE = 25 / 288


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number stands: a point of the picture (fractions), and which corner of the number is put there."""

    at: Point
    from_right: bool = False
    from_bottom: bool = False


def number_places(boxes: Sequence[Box], frame: Size, subject: Point | None) -> tuple[Place, ...]:
    """Return a place for the number of each box, on an edge of its box, clear of the others and of the subject.

    Corners first, then along the edges; where all is taken, the place that hides least.
    """
    width, height = _TAG_SHARE, _TAG_SHARE * frame.width / frame.height
    taken = []
    if subject:
        half_x, half_y = width / 2, height / 2
        taken.append(Region(subject.x - half_x, subject.y - half_y, subject.x + half_x, subject.y + half_y))
    places = []
    for box in boxes:
        region = Region(
            box.left / frame.width, box.top / frame.height, box.right / frame.width, box.bottom / frame.height
        )
        choices = ((place, _footprint(place, width, height)) for place in _choices(region, width, height))
        place, footprint = _hiding_least(choices, taken)
        places.append(place)
        taken.append(footprint)
    return tuple(places)


def _hiding_least(choices: Iterable[tuple[Place, Region]], taken: Sequence[Region]) -> tuple[Place, Region]:
    """Return the first place that hides nothing, else the first of those that hide least."""
    least, best = math.inf, None
    for choice in choices:
        hidden = sum(_overlap(choice[1], other) for other in taken)
        if hidden < least:
            least, best = hidden, choice
        if not hidden:
            break
    if best is None:
        raise AssertionError
    return best


def _choices(region: Region, width: float, height: float) -> Iterator[Place]:
    corners = ((False, False), (True, False), (False, True), (True, True))
    for right, bottom in corners:
        yield Place(Point((region.left, region.right)[right], (region.top, region.bottom)[bottom]), right, bottom)
    across = range(1, int((region.right - region.left) / width))
    down = range(1, int((region.bottom - region.top) / height))
    for bottom in (False, True):
        for step in across:
            yield Place(Point(region.left + step * width, (region.top, region.bottom)[bottom]), from_bottom=bottom)
    for right in (False, True):
        for step in down:
            yield Place(Point((region.left, region.right)[right], region.top + step * height), from_right=right)


def _footprint(place: Place, width: float, height: float) -> Region:
    left = place.at.x - width * place.from_right
    top = place.at.y - height * place.from_bottom
    return Region(left, top, left + width, top + height)


def _overlap(one: Region, other: Region) -> float:
    width = min(one.right, other.right) - max(one.left, other.left)
    height = min(one.bottom, other.bottom) - max(one.top, other.top)
    hair = 1e-9  # neighbours that touch do not hide each other
    return width * height if width > hair and height > hair else 0.0
