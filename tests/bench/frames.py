"""Frames of a camera's size, made of photographs that packages ship: an enlarged base, finer detail, and noise.

Enlarging alone would test nothing, for nothing in the frame would be finer than the pixels of what is delivered.
So the base carries the picture up to its own Nyquist frequency, the photograph's own finest detail is tiled over
it at full size, and light comes with shot noise: the spectrum reaches the frame's Nyquist frequency in every part.

Photographs: china and flower of scikit-learn; coffee, astronaut, chelsea and rocket of scikit-image. All six lie
in the wheels; nothing is fetched.
"""

from __future__ import annotations

import functools
import io
import math
import zlib
from importlib import resources
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pyvips
import tifffile
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from pipeline.light.box import Size
from tests.light import colour_science
from tests.light.foreign_profiles import gamma_curve, matrix_profile

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

Light = NDArray[np.float32]
Codes = NDArray[np.uint8] | NDArray[np.uint16]
Kind = Literal["jpeg", "tiff"]
Tag = Literal["srgb", "adobe-rgb"]

CAMERA = Size(6000, 4000)

PHOTOGRAPHS = {
    "china": ("sklearn.datasets.images", "china.jpg"),
    "flower": ("sklearn.datasets.images", "flower.jpg"),
    "coffee": ("skimage.data", "coffee.png"),
    "astronaut": ("skimage.data", "astronaut.png"),
    "chelsea": ("skimage.data", "chelsea.png"),
    "rocket": ("skimage.data", "rocket.jpg"),
}

DETAIL_SIGMA_PX = 3.5  # what the detail holds begins where an enlargement of nine ends
DETAIL_GAIN = 0.8
DARKEST = 1 / 255  # of linear light: below it the logarithm of a photograph of 8 bits is rounding alone
FULL_WELL = 12_000.0  # electrons at full light: a camera of today near ISO 400 (common practice, no source)
READ_NOISE = 3.0  # electrons

JPEG_QUALITY = 95
LINEAR_STEPS = 65_536  # of a table over the square root of light


def photograph(name: str) -> NDArray[np.uint8]:
    """Return a photograph as its package ships it, (h, w, 3) encoded sRGB."""
    package, file = PHOTOGRAPHS[name]
    with Image.open(io.BytesIO(resources.files(package).joinpath(file).read_bytes())) as opened:
        return np.asarray(opened.convert("RGB"))


def frame_light(name: str, size: Size = CAMERA) -> Light:
    """Return linear sRGB (h, w, 3), 0..1, of a frame made of a photograph; the same at every run."""
    seed = zlib.crc32(f"{name} {size.width} x {size.height}".encode())
    random = np.random.default_rng(seed)
    small = colour_science.linear(photograph(name) / 255, colour_science.SRGB).astype(np.float32)
    detail = _finest_detail(small)
    light = np.empty((size.height, size.width, 3), np.float32)
    start = random.integers(0, detail.shape[:2])
    for band in range(3):
        base = _enlarged(_filling(small[..., band], size), size)
        base *= np.exp(DETAIL_GAIN * _tiled(detail[..., band], size, start))
        noise = random.standard_normal((size.height, size.width), np.float32)
        noise *= np.sqrt(np.maximum(base, 0) / FULL_WELL + (READ_NOISE / FULL_WELL) ** 2)
        light[..., band] = np.clip(base + noise, 0, 1)
    return light


def _filling(picture: Light, size: Size) -> Light:
    """Return the middle part of a picture that has the shape of `size`."""
    height, width = picture.shape
    across = min(width, round(height * size.width / size.height))
    down = min(height, round(width * size.height / size.width))
    left, top = (width - across) // 2, (height - down) // 2
    return picture[top : top + down, left : left + across]


def _enlarged(picture: Light, size: Size) -> Light:
    wanted = (size.width, size.height)
    return np.array(Image.fromarray(picture).resize(wanted, Image.Resampling.BICUBIC), np.float32)


def _finest_detail(light: Light) -> Light:
    """Return how much each pixel's light differs from that around it, in natural logarithms, (h, w, 3)."""
    logarithm = np.log(np.maximum(light, DARKEST))
    around: Light = ndimage.gaussian_filter(logarithm, (DETAIL_SIGMA_PX, DETAIL_SIGMA_PX, 0))
    return logarithm - around


def _tiled(detail: Light, size: Size, start: NDArray[np.int64]) -> Light:
    """Return detail at its own size over the whole frame, each tile beside its mirror image, so that no seam shows."""
    across = np.concatenate([detail, detail[:, ::-1]], axis=1)
    tile = np.roll(np.concatenate([across, across[::-1]], axis=0), tuple(start), axis=(0, 1))
    times = (math.ceil(size.height / tile.shape[0]), math.ceil(size.width / tile.shape[1]))
    return np.tile(tile, times)[: size.height, : size.width]


def write_frame(path: Path, light: Light, kind: Kind, tag: Tag) -> Path:
    """Save linear sRGB as JPEG (8 bits, 4:4:4, quality 95) or TIFF (16 bits, not compressed), tagged; return its path.

    Adobe RGB is wider than sRGB: the same colours, in other numbers.
    """
    codes = encoded(light, tag, 8 if kind == "jpeg" else 16)
    icc_profile = profile_of(tag)
    if kind == "jpeg":
        options: dict[str, Any] = {"quality": JPEG_QUALITY, "subsampling": 0, "icc_profile": icc_profile}
        Image.fromarray(codes).save(path, "JPEG", **options)
    else:
        tifffile.imwrite(path, codes, photometric="rgb", iccprofile=icc_profile)
    return path


def encoded(light: Light, tag: Tag, bits: int) -> Codes:
    """Return linear sRGB as codes of a space, (h, w, 3), rounded."""
    if tag == "adobe-rgb":
        light = np.clip(light @ _srgb_to_adobe_rgb().T, 0, 1, dtype=np.float32)
    top = (1 << bits) - 1
    steps = np.linspace(0, 1, LINEAR_STEPS) ** 2
    table = np.rint(_inverse_curve(tag)(steps) * top).astype(np.uint8 if bits == 8 else np.uint16)
    return np.asarray(table[(np.sqrt(light) * (LINEAR_STEPS - 1) + 0.5).astype(np.int32)])


def _inverse_curve(tag: Tag) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    name = colour_science.ADOBE_RGB if tag == "adobe-rgb" else colour_science.SRGB
    curve: Callable[[NDArray[np.float64]], NDArray[np.float64]] = colour_science.colour.RGB_COLOURSPACES[
        name
    ].cctf_encoding
    return curve


def _srgb_to_adobe_rgb() -> Light:
    srgb, adobe_rgb = (colour_science.pcs_matrix(each) for each in (colour_science.SRGB, colour_science.ADOBE_RGB))
    return np.asarray(np.linalg.inv(adobe_rgb) @ srgb, dtype=np.float32)


@functools.cache
def profile_of(tag: Tag) -> bytes:
    """Return the ICC profile of a space as others write it: libvips' sRGB, Adobe RGB of its standard's numbers."""
    if tag == "srgb":
        return bytes(pyvips.Image.profile_load("srgb"))
    return matrix_profile(colour_science.ADOBE_RGB, gamma_curve(563 / 256))
