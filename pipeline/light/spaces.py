"""RGB spaces as their standards define them: primaries, white, transfer curve, and the matrices that follow.

Matrices are float64, shape (3, 3), and act on column vectors of linear RGB (0..1) or XYZ (Y of white = 1).
The profile connection space is XYZ under ICC's D50; other whites are adapted with the Bradford matrix, as
ICC.1:2022 Annex E does. Sources: [IEC61966], [AdobeRGB], [EG432], [ISO22028], [ICC1] in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.light.transfer import ADOBE_CURVE, ROMM_CURVE, SRGB_CURVE, Parametric

Matrix = NDArray[np.float64]
Chromaticity = tuple[float, float]

D65: Chromaticity = (0.3127, 0.3290)
D50: Chromaticity = (0.3457, 0.3585)

# ICC.1 fixes the PCS illuminant as these XYZ numbers (s15Fixed16 F6D6, 10000, D32D in 1/65536).
PCS_WHITE: tuple[float, float, float] = (0xF6D6 / 65536, 1.0, 0xD32D / 65536)

BRADFORD: Matrix = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


@dataclass(frozen=True, slots=True)
class RGBSpace:
    """A space by its standard's own numbers. `name` is what the embedded profile says."""

    name: str
    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    white: Chromaticity
    curve: Parametric


SRGB = RGBSpace("sRGB", (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), D65, SRGB_CURVE)
ADOBE_RGB = RGBSpace("Adobe RGB (1998) compatible", (0.64, 0.33), (0.21, 0.71), (0.15, 0.06), D65, ADOBE_CURVE)
DISPLAY_P3 = RGBSpace("Display P3", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), D65, SRGB_CURVE)
ROMM = RGBSpace("ROMM RGB", (0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), D50, ROMM_CURVE)

# What a target's `colour` may be without an ICC profile of the job's; beside these, "grey".
RGB_TARGETS = {"srgb": SRGB, "display-p3": DISPLAY_P3, "adobe-rgb": ADOBE_RGB}


def white_xyz(white: Chromaticity) -> NDArray[np.float64]:
    """Return XYZ of a chromaticity at Y = 1."""
    x, y = white
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def rgb_to_xyz(space: RGBSpace) -> Matrix:
    """Return the matrix from linear RGB to XYZ under the space's own white. Source: SMPTE RP 177 (from memory)."""
    columns = np.array([[x / y, 1.0, (1.0 - x - y) / y] for x, y in (space.red, space.green, space.blue)]).T
    scale = np.linalg.solve(columns, white_xyz(space.white))
    return np.asarray(columns * scale, dtype=np.float64)


def adaptation(source: NDArray[np.float64], destination: NDArray[np.float64]) -> Matrix:
    """Return the Bradford matrix that takes XYZ seen under `source` white to `destination` white (both XYZ)."""
    gains = (BRADFORD @ destination) / (BRADFORD @ source)
    return np.asarray(np.linalg.inv(BRADFORD) @ np.diag(gains) @ BRADFORD, dtype=np.float64)


def rgb_to_pcs(space: RGBSpace) -> Matrix:
    """Return the matrix from linear RGB to the D50 profile connection space (relative colorimetric)."""
    return adaptation(white_xyz(space.white), np.array(PCS_WHITE)) @ rgb_to_xyz(space)
