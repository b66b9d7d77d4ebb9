"""Encoding by budget: what so many bytes give in each format, and what halved chroma does to red edges."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyvips
from PIL import Image

from pipeline.render.budget import encoded, measure
from pipeline.render.encode import encode
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, enlarged, plate
from tests.render.charts import SCREEN

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat
    from pipeline.render.encode import Chroma
    from pipeline.render.picture import Picture
    from tests.quality.plates.sheet import Codes

NAME, WIDTH, PLACE = "overhead.tif", 1200, (400, 410, 282, 230)
BYTES = (90_000, 180_000)
FORMATS: dict[str, OutputFormat] = {"JPEG": "jpeg", "WebP": "webp", "AVIF": "avif"}
EDGES, TIMES = (500, 462, 94, 66), 3
QUALITY = 80
CHROMAS: tuple[Chroma, ...] = ("4:4:4", "4:2:0")


def budgets() -> Image.Image:
    """Return a plate: one picture in so many bytes in three formats; red edges with chroma whole and halved."""
    pyvips.concurrency_set(1)  # as in an export: an AV1 encoder that may use more threads gives other bytes
    picture = shoot.picture(NAME, WIDTH, SCREEN)
    rows = [[_within(picture, name, most) for name in FORMATS] for most in BYTES]
    rows.append(
        [
            _near(f"red edges, {TIMES} x: not encoded", shoot.codes(picture)),
            *(_near(f"JPEG {QUALITY}, {chroma}", _encoded(picture, chroma)) for chroma in CHROMAS),
        ]
    )
    return plate(rows)


def _within(picture: Picture, name: str, most: int) -> Crop:
    """Return the crop of the best file of a format within so many bytes, with what it came to."""
    file = encoded(picture, FORMATS[name], replace(SCREEN, bytes_max=most), lambda data: data)
    fidelity = measure(picture, file.data)
    words = f"{name} {file.quality}, {len(file.data) / 1000:.1f} kB, fidelity {fidelity:.0f}"
    return Crop(words, shoot.cut(_opened(file.data), *PLACE))


def _encoded(picture: Picture, chroma: Chroma) -> Codes:
    return _opened(encode(picture, "jpeg", QUALITY, chroma))


def _near(words: str, pixels: Codes) -> Crop:
    return Crop(words, enlarged(shoot.cut(pixels, *EDGES), TIMES))


def _opened(data: bytes) -> Codes:
    with Image.open(io.BytesIO(data)) as opened:
        return np.asarray(opened.convert("RGB"))
