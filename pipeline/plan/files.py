"""The files of a rendition: what each is for, what it is called, the small ones for the contact sheet."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING

from pipeline.light.box import Size
from pipeline.plan.naming import file_name
from pipeline.plan.rendition import Output

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from pipeline.job.job import Request
    from pipeline.plan.rendition import OutputFormat, PixelSettings, PlannedFrame, Rendition

SCREEN_PPI = 72.0
PREVIEW_SIDE, WHOLE_SIDE, SMALL_WHOLE_SIDE = 640, 1600, 800
# What every browser shows (AVIF: not those of a few years ago).
SHOWN_BY_BROWSERS: frozenset[OutputFormat] = frozenset({"jpeg", "png", "webp"})
CMYK_CHANNELS = 4  # browsers differ in what they make of it
ENDINGS: dict[OutputFormat, str] = {"jpeg": "jpg", "png": "png", "webp": "webp", "tiff": "tif", "avif": "avif"}


@dataclass(frozen=True, slots=True)
class Named:
    """What the names of a rendition's files are made of.

    `slug` is the shoot's, `frame` the frame's (or the pair's).
    """

    slug: str
    frame: str
    request: Request

    @property
    def preview(self) -> str:
        """Return the name of its pictures on the contact sheet.

        No slug, outlet or target holds two hyphens in a row, so that two renditions never share it.
        """
        return f"{self.frame}--{self.request.outlet}--{self.request.name}"


def identity(file: str, name: str, size: Size, output_format: str) -> str:
    """Return what one file is for, whatever it is called: this outlives a change of slug or template.

    A frame named with its whole path is known by a digest of it: the record goes where the pictures go.
    """
    return f"{source_name(file)} | {name} | {size.width} | {output_format}"


def source_name(file: str) -> str:
    """Return a frame's file as records name it: one named with its whole path by a digest of it and its last part.

    The record goes where the pictures go.
    """
    if not PurePath(file).is_absolute():
        return file
    return f"{hashlib.sha256(file.encode()).hexdigest()[:16]} {PurePath(file).name}"


def source_of_two(first: str, second: str) -> str:
    """Return the files of a picture of two frames as its identity names them."""
    return f"{source_name(first)} + {source_name(second)}"


def made_from(frame: PlannedFrame, rendition: Rendition) -> str:
    """Return the file or files that a rendition of a frame is made from, as its identity names them."""
    two = rendition.beside
    return source_of_two(frame.file, two.file) if two else frame.file


def outputs_of(named: Named, sizes: Iterable[Size], ppi: float) -> tuple[Output, ...]:
    """Return a file for each size and format, small to large, with its name."""
    request, outputs = named.request, []
    for size in sizes:
        name = file_name(
            request.name_template,
            slug=named.slug,
            frame=named.frame,
            outlet=request.outlet,
            target=request.name,
            width=size.width,
            height=size.height,
        )
        for output_format in request.target.formats:
            path = f"{request.outlet}/{name}.{ENDINGS[output_format]}"
            outputs.append(Output(size, output_format, path, round(ppi, 2)))
    return tuple(outputs)


def preview_of(name: str, size: Size, side: int = PREVIEW_SIDE) -> Output:
    """Return the small JPEG of a rendition: its longer side at most `side`, never larger than the rendition."""
    scale = min(1.0, side / max(size.width, size.height))
    small = Size(max(1, round(size.width * scale)), max(1, round(size.height * scale)))
    return Output(small, "jpeg", f"sheet/previews/{name}.jpg", SCREEN_PPI)


def full_view(name: str, outputs: Sequence[Output], settings: PixelSettings) -> Output | None:
    """Return a JPEG at the size of the largest output, None where a browser shows one of the outputs themselves."""
    largest = max((output.size for output in outputs), key=lambda size: size.pixels, default=None)
    shown = settings.channels != CMYK_CHANNELS and SHOWN_BY_BROWSERS & {output.format for output in outputs}
    if largest is None or shown:
        return None
    if max(largest.width, largest.height) <= PREVIEW_SIDE:
        return None  # the preview is that picture
    return Output(largest, "jpeg", f"sheet/full/{name}.jpg", SCREEN_PPI)


def small_whole(slug: str, frame: Size) -> Output | None:
    """Return the smaller preview of a whole frame; None where the frame itself is no larger."""
    if max(frame.width, frame.height) <= SMALL_WHOLE_SIDE:
        return None
    return preview_of(f"small/{slug}", frame, SMALL_WHOLE_SIDE)
