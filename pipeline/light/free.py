"""The parts of a picture that nothing will cover, as fractions of its trim.

Several parts are alternatives: what must stay visible lies whole in at least one of them. Beside a
covered corner there are two: the full-height part beside it, and the full-width part above or below it.
"""

from __future__ import annotations

from itertools import product
from typing import TYPE_CHECKING, Literal

from pipeline.light.box import Region
from pipeline.light.ratio import exact

if TYPE_CHECKING:
    from fractions import Fraction

Corner = Literal["top-left", "top-right", "bottom-left", "bottom-right"]
Side = Literal["left", "right"]
Free = tuple[Region, ...]


def free_from_bands(top: float = 0.0, bottom: float = 0.0, left: float = 0.0, right: float = 0.0) -> Free:
    """Return the part between the bands, which are fractions of the trim's height or width; () where they meet."""
    return _parts((exact(left), exact(top), 1 - exact(right), 1 - exact(bottom)))


def free_beside_corner(corner: Corner, width: float, height: float) -> Free:
    """Return the two parts that a covered corner of `width` and `height` (fractions of the trim) leaves."""
    across, down = exact(width), exact(height)
    beside = (across, 0, 1, 1) if corner.endswith("left") else (0, 0, 1 - across, 1)
    past = (0, down, 1, 1) if corner.startswith("top") else (0, 0, 1, 1 - down)
    return _parts(beside, past)


def free_in_margins(
    size_mm: tuple[float, float], outside_mm: float, gutter_mm: float | None = None, side: Side | None = None
) -> Free:
    """Return the part of a page inside its margins: `gutter_mm` at the binding edge, `outside_mm` at the others.

    A page on the right is bound at its left edge. Without `side` all four margins are `outside_mm`.
    """
    width, height = exact(size_mm[0]), exact(size_mm[1])
    outside = exact(outside_mm)
    gutter = outside if gutter_mm is None else exact(gutter_mm)
    left = gutter if side == "right" else outside
    right = gutter if side == "left" else outside
    return _parts((left / width, outside / height, 1 - right / width, 1 - outside / height))


def both_free(first: Free, second: Free) -> Free:
    """Return what is free of both covers: every part of one met with every part of the other."""
    return _parts(
        *(
            (
                max(exact(one.left), exact(other.left)),
                max(exact(one.top), exact(other.top)),
                min(exact(one.right), exact(other.right)),
                min(exact(one.bottom), exact(other.bottom)),
            )
            for one, other in product(first, second)
        )
    )


def _parts(*edges: tuple[Fraction | int, Fraction | int, Fraction | int, Fraction | int]) -> Free:
    """Return the regions with these edges, without the empty ones."""
    return tuple(Region(*map(float, edge)) for edge in edges if edge[0] < edge[2] and edge[1] < edge[3])
