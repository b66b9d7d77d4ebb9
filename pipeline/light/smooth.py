"""Averages over neighbourhoods: Gaussian blur and reduction by area, for pictures that are measured, not delivered.

Arrays are float64, height x width or height x width x bands.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.float64]

LARGEST, HELD = 1e30, 1e6  # of the sum over a picture, and of a value


def gaussian(values: Picture, sigma_px: float) -> Picture:
    """Return `values` blurred by a Gaussian cut off at three sigma; the edge repeats its last pixel."""
    reach = math.ceil(3 * sigma_px)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma_px) ** 2)
    kernel /= kernel.sum()
    for axis in (0, 1):
        padding = [(0, 0)] * values.ndim
        padding[axis] = (reach, reach)
        wide = np.pad(values, padding, mode="edge")
        blurred = np.zeros_like(values)
        for start, weight in enumerate(kernel):
            part = slice(start, start + values.shape[axis])
            blurred += weight * (wide[part] if axis == 0 else wide[:, part])
        values = blurred
    return values


def by_area(values: Picture, long_side: int) -> Picture:
    """Return `values` reduced so that its longer side is `long_side`, each pixel the mean of the area it covers."""
    scale = long_side / max(values.shape[:2])
    if scale >= 1:
        return values
    for axis in (0, 1):
        values = _means(values, axis, max(1, round(values.shape[axis] * scale)))
    return values


def by_blocks(values: Picture, long_side: int) -> Picture:
    """Return the mean of each block of pixels: the least whole reduction that leaves at most 2 `long_side` - 1.

    Much faster than `by_area`; of what is over at the right and below, less than a block, nothing is looked at.
    """
    side = max(max(values.shape[:2]) // long_side, 1)
    side = min(side, *values.shape[:2])
    height, width = values.shape[0] // side, values.shape[1] // side
    bands = values.shape[2:]
    rows = values[: height * side, : width * side].reshape(height, side, width * side, *bands).mean(axis=1)
    return np.asarray(rows.reshape(height, width, side, *bands).mean(axis=2), dtype=np.float64)


def finite(values: Picture) -> Picture:
    """Return values that can be reckoned with: what is no number is 0, what is too large is held."""
    with np.errstate(over="ignore", invalid="ignore"):
        total = abs(float(values.sum()))
    if total < LARGEST:
        return values
    return np.clip(np.nan_to_num(values, nan=0.0), -HELD, HELD)


def _means(values: Picture, axis: int, count: int) -> Picture:
    """Return `count` means along an axis, each over an equal stretch of it, a part of a pixel counting as that part."""
    length = values.shape[axis]
    edges = np.arange(count + 1) * (length / count)
    whole = np.minimum(edges.astype(np.intp), length - 1)
    part = (edges - whole).reshape([-1 if one == axis else 1 for one in range(values.ndim)])
    before = np.concatenate([np.zeros_like(values.take([0], axis)), np.cumsum(values, axis)], axis)
    sums = before.take(whole, axis) + part * values.take(whole, axis)
    return np.asarray(np.diff(sums, axis=axis) * (count / length), dtype=np.float64)
