"""Pictures as the looks take them: the sample's frames, and arrays of sRGB codes."""

from __future__ import annotations

import tomllib
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.detail import Detail, detail_of
from pipeline.frames.inspection.view import planes_of, reduced_light
from pipeline.frames.pixels import Pixels, decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Region
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import SRGB
from tests.frames.inspection.subjects import SAMPLE

if TYPE_CHECKING:
    from numpy.typing import NDArray

FRAMES = {
    entry["file"]: (entry["view"], Region(*entry["keep"]))
    for entry in tomllib.loads((SAMPLE / "job.toml").read_text(encoding="utf-8"))["frames"]
}


@cache
def sample_detail(file: str) -> Detail:
    """Return a frame of the sample: pixels only, nothing of its Exif."""
    path = SAMPLE / file
    return of_pixels(decode(read_header(path, name=path.name, pixel_limit=10**8), name=path.name))


def of_pixels(pixels: Pixels) -> Detail:
    return detail_of(planes_of(pixels), reduced_light(pixels))


def of_codes(codes: NDArray[np.uint8]) -> Detail:
    """Return a picture given as sRGB codes, height x width x 3."""
    import pyvips  # noqa: PLC0415 (heavy)

    height, width, bands = codes.shape
    image = pyvips.Image.new_from_memory(np.ascontiguousarray(codes).tobytes(), width, height, bands, "uchar")
    return of_pixels(Pixels(image.copy(interpretation="srgb"), write_matrix_profile(SRGB), ()))
