"""Sizes, points, regions and boxes: the vocabulary of shape.

Two kinds of numbers, never mixed: whole source pixels (`Size`, `Box`) and fractions of a frame or of
a crop, 0 at the left or top edge and 1 at the right or bottom edge (`Point`, `Region`).
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Size:
    """Width and height in pixels, both at least 1."""

    width: int
    height: int

    @property
    def pixels(self) -> int:
        """Return how many pixels there are."""
        return self.width * self.height


@dataclass(frozen=True, slots=True)
class Point:
    """A place as fractions (0..1) from the top-left."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Region:
    """A rectangle as fractions (0..1): left < right and top < bottom."""

    left: float
    top: float
    right: float
    bottom: float


WHOLE = Region(0.0, 0.0, 1.0, 1.0)


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle of whole pixels: columns left..right-1, rows top..bottom-1."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        """Return the first column to the right of the box."""
        return self.left + self.width

    @property
    def bottom(self) -> int:
        """Return the first row below the box."""
        return self.top + self.height

    @property
    def size(self) -> Size:
        """Return the size without the place."""
        return Size(self.width, self.height)
