"""Pictures for the looks at light: arrays of codes, the sample's frames, and photographs that packages ship."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.inspection.view import reduced_light
from pipeline.frames.pixels import Pixels, decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Region
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import SRGB

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

SAMPLE = Path(__file__).parents[3] / "sample_shoot"
JOB = tomllib.loads((SAMPLE / "job.toml").read_text(encoding="utf-8"))
FRAMES = {Path(entry["file"]).name: entry for entry in JOB["frames"]}
SILENT = CameraFacts()  # all Exif removed

PACKAGED = {
    **dict.fromkeys(
        (
            "astronaut.png", "brick.png", "camera.png", "cell.png", "chelsea.png", "clock_motion.png", "coffee.png",
            "coins.png", "color.png", "grass.png", "gravel.png", "horse.png", "hubble_deep_field.jpg", "ihc.png",
            "moon.png", "motorcycle_left.png", "motorcycle_right.png", "page.png", "retina.jpg", "rocket.jpg",
            "text.png",
        ),
        "skimage.data",
    ),
    **dict.fromkeys(("china.jpg", "flower.jpg"), "sklearn.datasets.images"),
}  # fmt: skip
DRAWN = {"color.png", "horse.png"}  # a diagram and a silhouette: white paper is meant to be white

INTERPRETATIONS = {1: ("b-w", "grey16"), 3: ("srgb", "rgb16"), 4: ("cmyk", "cmyk")}


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A frame as the looks take it. `keep` is the job's, None for photographs of others."""

    header: Header
    pixels: Pixels
    light: Picture
    keep: Region | None


def pixels_of(codes: NDArray[Any], icc_profile: bytes | None = None) -> Pixels:
    """Return codes (height x width x bands, uint8 or uint16) as a decoded frame, sRGB unless a profile is given."""
    height, width, bands = codes.shape
    kind = "uchar" if codes.dtype == np.uint8 else "ushort"
    image = pyvips.Image.new_from_memory(np.ascontiguousarray(codes).tobytes(), width, height, bands, kind)
    image = image.copy(interpretation=INTERPRETATIONS[bands][kind == "ushort"])
    return Pixels(image, icc_profile or write_matrix_profile(SRGB), ())


@cache
def sample(name: str) -> Frame:
    """Return a frame of the sample shoot."""
    return _frame(SAMPLE / "selects" / name, Region(*FRAMES[name]["keep"]))


@cache
def packaged(name: str) -> Frame:
    """Return a photograph that a package ships."""
    with as_file(files(PACKAGED[name]) / name) as path:
        return _frame(path, None)


def _frame(path: Path, keep: Region | None) -> Frame:
    header = read_header(path, name=path.name, pixel_limit=10**8)
    pixels = decode(header, name=path.name)
    return Frame(header, pixels, reduced_light(pixels), keep)
