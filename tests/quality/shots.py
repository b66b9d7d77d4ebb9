"""Which photographs are measured: in which kinds of file, and for which uses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.box import Box, Size
from tests.bench.frames import PHOTOGRAPHS
from tests.light import colour_science

if TYPE_CHECKING:
    from tests.bench.frames import Kind, Tag

NAMES = {"srgb": colour_science.SRGB, "adobe-rgb": colour_science.ADOBE_RGB}
VARIANTS: tuple[tuple[Kind, Tag], ...] = (
    ("jpeg", "srgb"),
    ("tiff", "adobe-rgb"),
    ("tiff", "srgb"),
    ("jpeg", "adobe-rgb"),
)


@dataclass(frozen=True, slots=True)
class Shot:
    """One frame in one kind of file, and the pictures wanted of it."""

    photograph: str
    kind: Kind
    tag: Tag
    size: Size
    pictures: tuple[tuple[Box, Size], ...]

    @property
    def name(self) -> str:
        """Return what the file is called."""
        return f"{self.photograph}-{self.tag}.{'jpg' if self.kind == 'jpeg' else 'tif'}"


def pictures_of(size: Size) -> tuple[tuple[Box, Size], ...]:
    """Return the whole frame 2.5 times reduced, an upright four-to-five crop, and a small square: common uses."""
    width, height = size.width, size.height
    upright = Box(round(width * 0.17), 0, round(height * 0.8), height)
    square = Box(round(width * 0.1), round(height * 0.1), round(height * 0.75), round(height * 0.75))
    return (
        (Box(0, 0, width, height), Size(round(width / 2.5), round(height / 2.5))),
        (upright, Size(round(height * 0.27), round(height * 0.3375))),
        (square, Size(height // 10, height // 10)),
    )


def shots(size: Size, *, full: bool) -> tuple[Shot, ...]:
    """Return every photograph once, each in another kind of file and for another use; with `full` each for all."""
    pictures = pictures_of(size)
    if full:
        return tuple(Shot(name, kind, tag, size, pictures) for name in PHOTOGRAPHS for kind, tag in VARIANTS)
    return tuple(
        Shot(name, *VARIANTS[at % len(VARIANTS)], size, (pictures[at % len(pictures)],))
        for at, name in enumerate(PHOTOGRAPHS)
    )
