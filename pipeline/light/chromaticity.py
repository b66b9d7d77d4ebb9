"""Colours without their brightness: u', v' of CIE 1976 (u = u', v = 2/3 v' of CIE 1960). Source: [CIE15].

Arrays are float64, the last axis (X, Y, Z) or (u', v').
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.spaces import white_xyz

if TYPE_CHECKING:
    from pipeline.light.spaces import Chromaticity
    from pipeline.light.transfer import Values

LEAST = 1e-12  # of X + 15 Y + 3 Z; black has no colour and is given that of nothing, (0, 0)


def uv_1976(xyz: Values) -> Values:
    """Return u', v' of XYZ (0 and more)."""
    x, y, z = np.moveaxis(xyz, -1, 0)
    whole = np.maximum(x + 15 * y + 3 * z, LEAST)
    return np.stack([4 * x / whole, 9 * y / whole], axis=-1)


def uv_1960(xyz: Values) -> Values:
    """Return u, v of XYZ likewise: the diagram in which colour temperature is defined."""
    return np.asarray(uv_1976(xyz) * np.array([1.0, 2 / 3]), dtype=np.float64)


def white_uv(white: Chromaticity) -> Values:
    """Return u', v' of a white given by x, y."""
    return uv_1976(white_xyz(white))
