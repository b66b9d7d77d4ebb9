"""A plate: crops side by side at 100 %, each with a line of words above it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

Codes = NDArray[np.uint8]

WIDEST_PX = 880  # what a page of documentation shows without scaling (common practice, no source)
GAP_PX, LINE_PX, LETTER_PX = 8, 24, 14
GROUND, INK = (232, 232, 232), (40, 40, 40)
QUALITY = 95


@dataclass(frozen=True, slots=True)
class Crop:
    """Finished sRGB pixels (h, w, 3), and what to see in them."""

    words: str
    pixels: Codes


def plate(rows: Sequence[Sequence[Crop]]) -> Image.Image:
    """Return the crops row by row, not scaled. ValueError where a page would have to scale them."""
    width = max(sum(crop.pixels.shape[1] + GAP_PX for crop in row) for row in rows) + GAP_PX
    height = sum(LINE_PX + max(len(crop.pixels) for crop in row) + GAP_PX for row in rows)
    if width > WIDEST_PX:
        raise ValueError(f"the plate is {width} px wide, and a page shows {WIDEST_PX} at 100 %")
    sheet = Image.new("RGB", (width, height), GROUND)
    pen = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(LETTER_PX)
    top = 0
    for row in rows:
        left = GAP_PX
        for crop in row:
            if pen.textlength(crop.words, font=font) > crop.pixels.shape[1]:
                raise ValueError(f"the words {crop.words!r} are longer than their crop is wide")
            pen.text((left, top + LINE_PX / 2), crop.words, fill=INK, font=font, anchor="lm")
            sheet.paste(Image.fromarray(crop.pixels), (left, top + LINE_PX))
            left += crop.pixels.shape[1] + GAP_PX
        top += LINE_PX + max(len(crop.pixels) for crop in row) + GAP_PX
    return sheet


def enlarged(pixels: Codes, times: int) -> Codes:
    """Return each pixel as a square of `times` pixels: to be seen as it is."""
    return np.asarray(np.kron(pixels, np.ones((times, times, 1), np.uint8)))


def save(sheet: Image.Image, path: Path) -> None:
    """Save a plate as JPEG, 4:4:4, with the profile of sRGB left out: pages take it so."""
    options: dict[str, Any] = {"quality": QUALITY, "subsampling": 0, "optimize": True}
    sheet.save(path, "JPEG", **options)
