"""RGB spaces against the matrices that their standards print, and against colour-science."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.spaces import (
    ADOBE_RGB,
    D50,
    D65,
    DISPLAY_P3,
    PCS_WHITE,
    ROMM,
    SRGB,
    Chromaticity,
    RGBSpace,
    adaptation,
    rgb_to_pcs,
    rgb_to_xyz,
    white_xyz,
)
from tests.light import colour_science

NAMES = {
    SRGB.name: colour_science.SRGB,
    ADOBE_RGB.name: colour_science.ADOBE_RGB,
    DISPLAY_P3.name: colour_science.DISPLAY_P3,
    ROMM.name: colour_science.ROMM,
}
ALL = pytest.mark.parametrize("space", [SRGB, ADOBE_RGB, DISPLAY_P3, ROMM], ids=lambda space: space.name)

whites = st.tuples(st.floats(0.25, 0.45), st.floats(0.25, 0.45))


@pytest.mark.parametrize(
    ("space", "printed", "digits"),
    [
        # Source: IEC 61966-2-1:1999, (7).
        (SRGB, [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]], 4),
        # Source: Adobe RGB (1998) Color Image Encoding, 4.3.5.3 (as colour-science has it).
        (ADOBE_RGB, [[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]], 5),
    ],
)
def test_matrix_is_the_printed_one(space: RGBSpace, printed: list[list[float]], digits: int) -> None:
    np.testing.assert_allclose(rgb_to_xyz(space), printed, rtol=0, atol=10**-digits)


def test_matrix_of_romm_is_the_printed_one() -> None:
    # Source: ISO 22028-2 (as colour-science has it), relative to the white of the connection space.
    printed = [[0.7977, 0.1352, 0.0313], [0.2880, 0.7119, 0.0001], [0.0, 0.0, 0.8249]]
    np.testing.assert_allclose(rgb_to_pcs(ROMM), printed, rtol=0, atol=1e-4)


@ALL
def test_matrix_to_the_connection_space_is_colour_sciences(space: RGBSpace) -> None:
    # PCS_WHITE there has the four digits of the standard, here the 16 bits of the file.
    np.testing.assert_allclose(rgb_to_pcs(space), colour_science.pcs_matrix(NAMES[space.name]), rtol=0, atol=3e-5)


@pytest.mark.parametrize(
    ("space", "linear_srgb"),
    # Pure green of each space in linear sRGB, worked out by colour-science.
    [(ADOBE_RGB, (-0.398, 1.000, -0.043)), (DISPLAY_P3, (-0.225, 1.042, -0.079)), (ROMM, (-0.728, 1.232, -0.153))],
)
def test_pure_green_lies_outside_srgb_by_so_much(space: RGBSpace, linear_srgb: tuple[float, float, float]) -> None:
    green = rgb_to_pcs(space) @ np.array([0.0, 1.0, 0.0])
    np.testing.assert_allclose(np.linalg.solve(rgb_to_pcs(SRGB), green), linear_srgb, rtol=0, atol=6e-4)


@pytest.mark.parametrize(
    ("space", "code"),
    # sRGB 200, 100, 50 in 8-bit steps of each space, worked out by colour-science.
    [(ADOBE_RGB, (177.25, 99.92, 56.11)), (DISPLAY_P3, (187.13, 105.38, 61.97)), (ROMM, (142.84, 94.97, 49.52))],
)
def test_srgb_200_100_50_in_each_space(space: RGBSpace, code: tuple[float, float, float]) -> None:
    linear = SRGB.curve.to_linear(np.array([200.0, 100.0, 50.0]) / 255)
    there = np.asarray(np.linalg.solve(rgb_to_pcs(space), rgb_to_pcs(SRGB) @ linear), dtype=np.float64)
    np.testing.assert_allclose(space.curve.to_encoded(there) * 255, code, rtol=0, atol=0.02)


@ALL
def test_white_is_the_white_of_the_connection_space(space: RGBSpace) -> None:
    np.testing.assert_allclose(rgb_to_pcs(space) @ np.ones(3), PCS_WHITE, rtol=0, atol=1e-12)


def test_the_connection_space_is_d50() -> None:
    # Source: ICC.1:2022 7.2.16: X 0.9642, Y 1, Z 0.8249.
    np.testing.assert_allclose(PCS_WHITE, (0.9642, 1.0, 0.8249), rtol=0, atol=5e-5)
    np.testing.assert_allclose(white_xyz(D50), PCS_WHITE, rtol=0, atol=4e-4)


@given(whites, whites)
def test_adaptation_takes_one_white_to_the_other_as_colour_science_does(
    source: Chromaticity, destination: Chromaticity
) -> None:
    here, there = white_xyz(source), white_xyz(destination)
    matrix = adaptation(here, there)
    np.testing.assert_allclose(matrix @ here, there, rtol=1e-9)
    np.testing.assert_allclose(matrix, colour_science.adaptation(here, there), rtol=0, atol=1e-6)


def test_adaptation_to_the_same_white_changes_nothing() -> None:
    np.testing.assert_allclose(adaptation(white_xyz(D65), white_xyz(D65)), np.eye(3), rtol=0, atol=1e-12)
