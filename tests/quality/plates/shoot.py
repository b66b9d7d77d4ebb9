"""Frames of the sample shoot, decoded once, and pictures of them by the pipeline's own steps."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Box, Size
from pipeline.render.picture import make_picture

if TYPE_CHECKING:
    from pipeline.frames.pixels import Pixels
    from pipeline.plan.rendition import PixelSettings
    from pipeline.render.picture import Picture
    from tests.quality.plates.sheet import Codes

SELECTS = Path(__file__).parents[3] / "sample_shoot" / "selects"


@functools.cache
def frame(name: str) -> Pixels:
    """Return a decoded frame of the sample shoot."""
    return decode(read_header(SELECTS / name, name=name, pixel_limit=10**8), name=name)


def picture(name: str, width: int, settings: PixelSettings) -> Picture:
    """Return a whole frame at a width in pixels."""
    pixels = frame(name)
    whole = Box(0, 0, pixels.image.width, pixels.image.height)
    return make_picture(pixels, whole, Size(width, round(width * whole.height / whole.width)), settings)


def codes(made: Picture) -> Codes:
    """Return finished pixels, (h, w, 3)."""
    found: Codes = made.image.numpy()
    return found


def cut(pixels: Codes, left: int, top: int, width: int, height: int) -> Codes:
    """Return a part of finished pixels."""
    return pixels[top : top + height, left : left + width]
