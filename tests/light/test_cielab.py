"""CIE Lab D50, against colour-science."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.light.cielab import lab_to_xyz, lightness_of, luminance_of, xyz_to_lab
from pipeline.light.spaces import PCS_WHITE
from tests.light.colour_science import colour

XYZ = np.concatenate([np.random.default_rng(1).random((500, 3)), np.geomspace(1e-6, 1, 50)[:, None] * PCS_WHITE])
WHITE = colour.XYZ_to_xy(np.array(PCS_WHITE))


def test_lab_is_that_of_the_standard() -> None:
    np.testing.assert_allclose(colour.XYZ_to_Lab(XYZ, WHITE), xyz_to_lab(XYZ), rtol=0, atol=1e-9)


def test_and_back_to_xyz() -> None:
    np.testing.assert_allclose(XYZ, lab_to_xyz(xyz_to_lab(XYZ)), rtol=0, atol=1e-12)


def test_what_is_darker_than_black_comes_back_too() -> None:
    np.testing.assert_allclose(-XYZ / 10, lab_to_xyz(xyz_to_lab(-XYZ / 10)), rtol=0, atol=1e-12)


@pytest.mark.parametrize(("lightness", "luminance"), [(0.0, 0.0), (50.0, 0.18418651851), (100.0, 1.0)])
def test_lightness_and_luminance(lightness: float, luminance: float) -> None:
    # CIE 15: L 50 is ((50 + 16) / 116) cubed.
    assert luminance == pytest.approx(luminance_of(lightness))
    assert lightness == pytest.approx(lightness_of(luminance))


def test_float32_stays_float32() -> None:
    assert xyz_to_lab(XYZ.astype(np.float32)).dtype == np.float32
    assert np.abs(xyz_to_lab(XYZ.astype(np.float32)) - xyz_to_lab(XYZ)).max() < 1e-3
    assert lab_to_xyz(np.zeros((1, 3), np.float32)).dtype == np.float32
