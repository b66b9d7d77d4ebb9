"""Kernels that are known exactly, to blur photographs with: a line (shake), a disk (a lens out of focus)."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy.signal import fftconvolve

from pipeline.light.spaces import SRGB

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

SHARP = (
    ("skimage.data", "astronaut.png"),
    ("skimage.data", "chelsea.png"),
    ("skimage.data", "coffee.png"),
    ("skimage.data", "motorcycle_left.png"),
    ("skimage.data", "rocket.jpg"),
    ("sklearn.datasets.images", "china.jpg"),
    ("sklearn.datasets.images", "flower.jpg"),
)
# Taken while the camera was moved about sideways, says the package that ships it.
SHAKEN = ("skimage.data", "clock_motion.png")
LUMINANCE = np.array([0.2126, 0.7152, 0.0722])


def photograph(package: str, name: str) -> NDArray[np.uint8]:
    """Return a photograph that a package ships, height x width x 3."""
    with (files(package) / name).open("rb") as stream:
        return np.asarray(Image.open(stream).convert("RGB"))


def linear(codes: NDArray[np.uint8]) -> Picture:
    """Return the linear luminance of sRGB codes."""
    return np.asarray(SRGB.curve.to_linear(codes / 255.0) @ LUMINANCE, dtype=np.float64)


def line(length_px: float, angle_deg: float) -> Picture:
    """Return the kernel of a straight, even motion; the angle is clockwise from the horizontal, y downwards."""
    reach = int(np.ceil(length_px / 2)) + 1
    along = np.linspace(-length_px / 2, length_px / 2, int(length_px * 64) + 1)
    x, y = along * np.cos(np.radians(angle_deg)) + reach, along * np.sin(np.radians(angle_deg)) + reach
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    kernel = np.zeros((2 * reach + 2, 2 * reach + 2))
    for down in (0, 1):
        for right in (0, 1):
            weight = np.abs(1 - down - (y - top)) * np.abs(1 - right - (x - left))
            np.add.at(kernel, (top + down, left + right), weight)
    return np.asarray(kernel[:-1, :-1] / kernel.sum(), dtype=np.float64)


def disk(radius_px: float) -> Picture:
    """Return the kernel of a lens out of focus: an even disk, four samples a pixel each way."""
    reach = int(np.ceil(radius_px)) + 1
    steps = (np.arange((2 * reach + 1) * 4) + 0.5) / 4 - 0.5 - reach
    inside = (np.hypot(*np.meshgrid(steps, steps)) <= radius_px).astype(np.float64)
    kernel = inside.reshape(2 * reach + 1, 4, 2 * reach + 1, 4).sum(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), dtype=np.float64)


def blurred(light: Picture, kernel: Picture) -> Picture:
    """Return light convolved with a kernel of odd sides, the rim mirrored."""
    reach = kernel.shape[0]
    wide = np.pad(light, reach, mode="reflect")
    whole = fftconvolve(wide, kernel, mode="same")[reach:-reach, reach:-reach]
    return np.asarray(np.clip(whole, 0.0, 1.0), dtype=np.float64)


def coded(light: Picture) -> NDArray[np.uint8]:
    """Return light as 8-bit sRGB codes."""
    return np.asarray(np.rint(SRGB.curve.to_encoded(light) * 255), dtype=np.uint8)


def tiles_of(light: Picture, side: int = 256) -> list[Picture]:
    """Return squares that cover a picture, overlapping where it is short."""
    high, wide = (min(side, length) for length in light.shape)
    tops, lefts = (
        np.unique(np.linspace(0, length - part, max(int(np.ceil(1.5 * length / side)), 1)).astype(int))
        for length, part in zip(light.shape, (high, wide), strict=True)
    )
    return [light[top : top + high, left : left + wide] for top in tops for left in lefts]
