"""Whether everybody made the same pictures: their number, size and format, and the colours that they show."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import tifffile
from PIL import Image

from pipeline.light.box import Size
from tests.light import colour_science
from tests.quality.shots import NAMES
from tests.quality.working import lab_difference, lab_of_light
from tests.render.reference import SHARP, resampled

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from tests.bench.straight import Wanted
    from tests.light.colour_science import Floats

SMALLER = 8
FORMATS = {".jpg": "JPEG", ".webp": "WEBP"}
FRAMES_JUDGED = 2  # one of each colour space
PICTURES_JUDGED = (-2, -1)  # the largest JPEG and the WebP


def wrong_pictures(wanted: Mapping[Path, tuple[Wanted, ...]]) -> list[str]:
    """Return the names of pictures that are not there, or have another size or format."""
    return [one.out.name for each in wanted.values() for one in each if not _is_as_wanted(one)]


def _is_as_wanted(one: Wanted) -> bool:
    if not one.out.is_file():
        return False
    with Image.open(one.out) as opened:
        return (opened.format, opened.size) == (FORMATS[one.out.suffix], (one.size.width, one.size.height))


def colour_differences(wanted: Mapping[Path, tuple[Wanted, ...]]) -> dict[str, float]:
    """Return by name the mean CIEDE2000 of some pictures to the reference, both seen eight times smaller.

    Linear light in float64, by the kernel and the colours of tests/render/reference.py and colour-science. At that size
    sharpening, rings and the noise of a codec average out; a wrong crop, profile or tone does not.
    """
    found = {}
    for file, pictures in list(wanted.items())[:FRAMES_JUDGED]:
        for one in (pictures[at] for at in PICTURES_JUDGED):
            small = Size(one.size.width // SMALLER, one.size.height // SMALLER)
            shown = colour_science.linear(_codes(one.out) / 255, colour_science.SRGB)
            exact = _reference(file, one.box.left, one.box.top, one.box.width, one.box.height, small)
            reduced = lab_of_light(np.clip(resampled(SHARP, shown, small), 0, 1), colour_science.SRGB)
            found[one.out.name] = float(lab_difference(reduced, exact).mean())
    return found


@cache
def _reference(file: Path, left: int, top: int, width: int, height: int, size: Size) -> Floats:
    """Return CIE Lab of a part of a frame, reduced in its own linear light, in the colours that sRGB can show."""
    space = NAMES["adobe-rgb" if "adobe-rgb" in file.name else "srgb"]
    codes = _codes(file)[top : top + height, left : left + width]
    light = resampled(SHARP, colour_science.linear(codes / np.iinfo(codes.dtype).max, space), size)
    srgb = np.linalg.inv(colour_science.pcs_matrix(colour_science.SRGB)) @ colour_science.pcs_matrix(space)
    return lab_of_light(np.clip(light @ srgb.T, 0, 1), colour_science.SRGB)


def _codes(file: Path) -> np.ndarray:
    """Return the codes of a picture, (h, w, 3), by readers that are not ours."""
    if file.suffix == ".tif":
        return np.asarray(tifffile.imread(file))
    with Image.open(file) as opened:
        return np.asarray(opened.convert("RGB"))
