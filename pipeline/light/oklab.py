"""OKLab and OKLCh: a space in which lightness, chroma and hue can be changed one by one. Source: [CSSColor] 9.2.

Arrays are float64, shape (..., 3). L is 0..1, a and b within about half a unit of 0.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.spaces import D65, PCS_WHITE, Matrix, adaptation, white_xyz

if TYPE_CHECKING:
    from pipeline.light.transfer import Values

XYZ_TO_LMS: Matrix = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LMS_TO_OKLAB: Matrix = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)
OKLAB_TO_LMS: Matrix = np.asarray(np.linalg.inv(LMS_TO_OKLAB), dtype=np.float64)


def rgb_to_lms(to_pcs: Matrix) -> Matrix:
    """Return the matrix from linear RGB to OKLab's LMS, of a space by its matrix to XYZ D50."""
    return XYZ_TO_LMS @ adaptation(np.array(PCS_WHITE), white_xyz(D65)) @ to_pcs


def lms_to_oklab(lms: Values) -> Values:
    """Return OKLab of LMS."""
    return np.asarray(np.cbrt(lms) @ LMS_TO_OKLAB.T, dtype=np.float64)


def oklab_to_lms(oklab: Values) -> Values:
    """Return LMS of OKLab; the inverse of `lms_to_oklab`."""
    root = oklab @ OKLAB_TO_LMS.T
    return np.asarray(root * root * root, dtype=np.float64)
