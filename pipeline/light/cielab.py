"""CIE Lab under the white of the profile connection space (D50), and back.

Arrays are of any shape, the last axis (X, Y, Z) with Y of white = 1, or (L, a, b) with L 0..100; float32 in gives
float32 out, float64 likewise. Source: [CIE15].
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.spaces import PCS_WHITE

if TYPE_CHECKING:
    from pipeline.light.stages import Planes

WHITE = np.array(PCS_WHITE)
KNEE = 6 / 29  # of the cube root; below its cube a straight line goes on
SLOPE, FOOT = 3 * KNEE**2, 4 / 29


def xyz_to_lab(xyz: Planes) -> Planes:
    """Return CIE Lab; values below black go on along the straight line."""
    x, y, z = np.moveaxis(_root(xyz / WHITE.astype(xyz.dtype)), -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def lab_to_xyz(lab: Planes) -> Planes:
    """Return XYZ; the inverse of `xyz_to_lab`."""
    lightness, a, b = np.moveaxis(lab, -1, 0)
    y = (lightness + 16) / 116
    relative = _relative(np.stack([y + a / 500, y, y - b / 200], axis=-1))
    return np.asarray(relative * WHITE.astype(lab.dtype))


def luminances_of(lightness: Planes) -> Planes:
    """Return Y (of white 1) of lightness L."""
    return _relative((lightness + 16) / 116)


def lightnesses_of(luminance: Planes) -> Planes:
    """Return lightness L of Y (of white 1)."""
    return 116 * _root(luminance) - 16


def luminance_of(lightness: float) -> float:
    """Return Y (0..1) of a lightness L (0..100)."""
    return float(luminances_of(np.asarray(lightness, dtype=np.float64)))


def lightness_of(luminance: float) -> float:
    """Return L (0..100) of Y (0..1)."""
    return float(lightnesses_of(np.asarray(luminance, dtype=np.float64)))


def _root(relative: Planes) -> Planes:
    return np.where(relative > KNEE**3, np.cbrt(relative), relative / SLOPE + FOOT)


def _relative(root: Planes) -> Planes:
    return np.where(root > KNEE, root * root * root, SLOPE * (root - FOOT))
