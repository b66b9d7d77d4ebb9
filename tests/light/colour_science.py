"""The judge of colour: colour-science, which shares no engine with us and has the standards' own numbers."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.typing import NDArray

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it says that plotting is not installed
    colour = pytest.importorskip("colour", reason="judge missing: colour-science")

Floats = NDArray[np.float64]

SRGB, ADOBE_RGB, DISPLAY_P3, ROMM = "sRGB", "Adobe RGB (1998)", "Display P3", "ROMM RGB"
D50, D65 = (0.3457, 0.3585), (0.3127, 0.3290)
PCS_WHITE = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022 7.2.16, the digits that the standard prints


def linear(encoded: Floats, name: str) -> Floats:
    """Return linear RGB (0..1) of encoded RGB (0..1)."""
    return np.asarray(colour.RGB_COLOURSPACES[name].cctf_decoding(encoded), dtype=np.float64)


def converted(encoded: Floats, source: str, target: str) -> Floats:
    """Return encoded RGB (0..1) of another space, relative colorimetric (Bradford), not clipped."""
    spaces = colour.RGB_COLOURSPACES
    rgb = colour.RGB_to_RGB(
        encoded,
        spaces[source],
        spaces[target],
        chromatic_adaptation_transform="Bradford",
        apply_cctf_decoding=True,
        apply_cctf_encoding=True,
    )
    return np.asarray(rgb, dtype=np.float64)


def lab_d50(encoded: Floats, name: str) -> Floats:
    """Return CIE Lab D50 of encoded RGB (0..1)."""
    xyz = linear(encoded, name) @ pcs_matrix(name).T
    return np.asarray(colour.XYZ_to_Lab(xyz, colour.XYZ_to_xy(PCS_WHITE)), dtype=np.float64)


def difference(encoded_1: Floats, encoded_2: Floats) -> Floats:
    """Return CIEDE2000 between two arrays of encoded sRGB (0..1)."""
    first, second = lab_d50(encoded_1, SRGB), lab_d50(encoded_2, SRGB)
    return np.asarray(colour.delta_E(first, second, method="CIE 2000"), dtype=np.float64)


def adaptation(source: Floats, destination: Floats) -> Floats:
    """Return its Bradford matrix from one white (XYZ) to another."""
    matrix = colour.adaptation.matrix_chromatic_adaptation_VonKries(source, destination, transform="Bradford")
    return np.asarray(matrix, dtype=np.float64)


def pcs_matrix(name: str) -> Floats:
    """Return linear RGB -> XYZ D50: the matrix that follows from the primaries (not its rounded print), adapted."""
    space = colour.RGB_COLOURSPACES[name].copy()
    space.use_derived_transformation_matrices(True)  # noqa: FBT003 (its own signature)
    white = colour.xy_to_XYZ(space.whitepoint)
    return np.asarray(adaptation(white, PCS_WHITE) @ space.matrix_RGB_to_XYZ, dtype=np.float64)


def chart_patches() -> dict[str, Floats]:
    """Return encoded sRGB (may lie outside 0..1) of 24 chart patches, of the editions before and after November 2014.

    Source: X-Rite, "Colorimetric values for the ColorChecker family of targets", 2016, as colour-science has them.
    """
    found = {}
    for edition in ("Before", "After"):
        chart = colour.CCS_COLOURCHECKERS[f"ColorChecker24 - {edition} November 2014"]
        for name, xyy in chart.data.items():
            rgb = colour.XYZ_to_RGB(
                colour.xyY_to_XYZ(xyy),
                colour.RGB_COLOURSPACES[SRGB],
                illuminant=chart.illuminant,
                chromatic_adaptation_transform="Bradford",
                apply_cctf_encoding=True,
            )
            found[f"{name}, {edition.lower()}"] = np.asarray(rgb, dtype=np.float64)
    return found
