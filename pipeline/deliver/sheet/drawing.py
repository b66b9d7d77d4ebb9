"""What is drawn over a picture: crops, bleed, what will be covered, thirds, crosses, and what a reviewer drew.

Crops are SVG path data in pixels of the picture they lie on; crosses and rings stand at per cent of it, so that they
keep their own shape on a picture of any size.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.box import Box, Point, Region, Size

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.deliver.review.state import Spot
    from pipeline.plan.rendition import PlannedFrame, Rendition

_OUTSIDE = 99  # pixels: more than any line is wide


@dataclass(frozen=True, slots=True)
class Cross:
    """A place, in per cent of the picture it is drawn on."""

    x: str
    y: str


@dataclass(frozen=True, slots=True)
class Placed:
    """A rectangle that a drawing is put into, in pixels of the picture."""

    x: str
    y: str
    width: str
    height: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """SVG path data of one crop, in pixels of the picture it is drawn on; "" where there is nothing to draw.

    `cut` is the outline of what is cut out, bleed and all, inside one that lies around the picture, out of sight:
    filled by the even-odd rule, it is the shade over what is cut off. `trim` is what is kept in the end, where that is
    less. `covered` is what something will lie over. `thirds` is where they are put, None on a print whose trim is
    all of it: there the style draws them.
    """

    cut: str

    trim: str
    thirds: Placed | None
    covered: str
    cross: Cross | None


@dataclass(frozen=True, slots=True)
class Spots:
    """What a reviewer drew on a print: boxes as path data in thousandths of it, points as places."""

    boxes: str
    points: tuple[Cross, ...]


@dataclass(frozen=True, slots=True)
class Edges:
    """A rectangle between pixels: edges, not columns, and fractions of a pixel where a trim needs them."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def width(self) -> float:
        """Return how wide it is."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Return how high it is."""
        return self.bottom - self.top


def frame_drawing(rendition: Rendition, frame: PlannedFrame, subject: Point | None) -> Drawing:
    """Return the crop as it is drawn over the whole frame, with a cross of its own where its subject is its own.

    `subject` is the frame's, None where crosses are not shown at all.
    """
    size, box = frame.whole.crop.box.size, _edges(rendition.crop.box)
    trim = within(box, rendition.trim)
    own = _subject_in(trim, rendition.crop.subject_at, size)
    moved = subject and max(abs(own.x - subject.x) * size.width, abs(own.y - subject.y) * size.height) > 1
    return Drawing(
        cut=_around(size) + (_ellipse_path(trim) if rendition.round_shape else box_path(box)),
        trim="" if trim == box else box_path(trim),
        thirds=_placed(trim),
        covered=_covered(trim, rendition.free),
        cross=cross_at(own) if moved and _inside(own) else None,
    )


def print_drawing(rendition: Rendition) -> Drawing:
    """Return the crop as it is drawn over its own print."""
    size = rendition.crop.box.size
    whole = Edges(0, 0, size.width, size.height)
    trim = within(whole, rendition.trim)
    return Drawing(
        cut=_around(size) + _ellipse_path(trim) if rendition.round_shape else "",
        trim="" if trim == whole else box_path(trim),
        thirds=None if trim == whole else _placed(trim),
        covered=_covered(trim, rendition.free),
        cross=None,
    )


def spots_drawn(spots: Iterable[Spot]) -> Spots:
    """Return what a reviewer drew, for a picture seen as 1000 by 1000."""
    spots = tuple(spots)
    boxes = (Edges(*(1000 * side for side in spot.at)) for spot in spots if len(spot.at) == 4)
    points = (Point(*spot.at) for spot in spots if len(spot.at) == 2)
    return Spots("".join(map(box_path, boxes)), tuple(map(cross_at, points)))


def within(outer: Edges, region: Region) -> Edges:
    """Return a part of a rectangle, given in fractions of it."""
    return Edges(
        outer.left + region.left * outer.width,
        outer.top + region.top * outer.height,
        outer.left + region.right * outer.width,
        outer.top + region.bottom * outer.height,
    )


def box_path(edges: Edges) -> str:
    """Return the path of a rectangle."""
    left, top, right, bottom = map(_number, (edges.left, edges.top, edges.right, edges.bottom))
    return f"M{left} {top}H{right}V{bottom}H{left}Z"


def region_path(region: Region, size: Size) -> str:
    """Return the path of a part of a picture of a size in pixels."""
    return box_path(within(Edges(0, 0, size.width, size.height), region))


def cross_at(at: Point) -> Cross:
    """Return a place as it is drawn."""
    return Cross(_number(100 * at.x), _number(100 * at.y))


def per_cent(fraction: float) -> str:
    """Return a fraction in per cent, as SVG takes it."""
    return _number(100 * fraction)


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _edges(box: Box) -> Edges:
    return Edges(box.left, box.top, box.right, box.bottom)


def _outline(trim: Edges, rendition: Rendition) -> str:
    return _ellipse_path(trim) if rendition.round_shape else box_path(trim)


def _ellipse_path(edges: Edges) -> str:
    """Return the ellipse inside a rectangle, as two half turns."""
    across, down, width = _number(edges.width / 2), _number(edges.height / 2), _number(edges.width)
    start = f"M{_number(edges.left)} {_number((edges.top + edges.bottom) / 2)}"
    return f"{start}a{across} {down} 0 1 0 {width} 0a{across} {down} 0 1 0 -{width} 0Z"


def _around(size: Size) -> str:
    """Return an outline that lies a little outside a picture."""
    return box_path(Edges(-_OUTSIDE, -_OUTSIDE, size.width + _OUTSIDE, size.height + _OUTSIDE))


def _placed(edges: Edges) -> Placed:
    return Placed(*map(_number, (edges.left, edges.top, edges.width, edges.height)))


def _covered(trim: Edges, free: tuple[Region, ...]) -> str:
    """Return the part of the trim outside every free region, as rectangles that do not overlap."""
    if not free:
        return ""
    xs = sorted({0.0, 1.0, *(x for region in free for x in (region.left, region.right))})
    ys = sorted({0.0, 1.0, *(y for region in free for y in (region.top, region.bottom))})
    cells = (
        Region(left, top, right, bottom)
        for top, bottom in itertools.pairwise(ys)
        for left, right in itertools.pairwise(xs)
    )
    return "".join(box_path(within(trim, cell)) for cell in cells if not any(_holds(region, cell) for region in free))


def _holds(region: Region, cell: Region) -> bool:
    return (
        region.left <= cell.left
        and region.top <= cell.top
        and region.right >= cell.right
        and region.bottom >= cell.bottom
    )


def _subject_in(trim: Edges, at: Point, size: Size) -> Point:
    """Return where the subject lies on a picture of `size`, from its place in the trim."""
    return Point((trim.left + at.x * trim.width) / size.width, (trim.top + at.y * trim.height) / size.height)


def _inside(at: Point) -> bool:
    return 0 <= at.x <= 1 and 0 <= at.y <= 1
