"""OKLab against its author's printed pairs and coloraide."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.light.oklab import XYZ_TO_LMS, lms_to_oklab, oklab_to_lms, rgb_to_lms
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB, RGBSpace, rgb_to_pcs

coloraide = pytest.importorskip("coloraide", reason="judge missing: coloraide")


@pytest.mark.parametrize(
    ("xyz", "oklab"),
    # Ottosson, "A perceptual color space for image processing", 2020, table of test pairs, three digits (from memory).
    [
        ((0.950, 1.000, 1.089), (1.000, 0.000, 0.000)),
        ((1.000, 0.000, 0.000), (0.450, 1.236, -0.019)),
        ((0.000, 1.000, 0.000), (0.922, -0.671, 0.263)),
        ((0.000, 0.000, 1.000), (0.153, -1.415, -0.449)),
    ],
)
def test_published_pairs(xyz: tuple[float, ...], oklab: tuple[float, ...]) -> None:
    np.testing.assert_allclose(oklab, lms_to_oklab(XYZ_TO_LMS @ np.array(xyz)), rtol=0, atol=6e-4)


@pytest.mark.parametrize(
    ("space", "name"), [(SRGB, "srgb-linear"), (DISPLAY_P3, "display-p3-linear"), (ADOBE_RGB, "a98-rgb-linear")]
)
def test_linear_rgb_is_what_coloraide_makes_of_it(space: RGBSpace, name: str) -> None:
    light = np.random.default_rng(1).random((200, 3))
    found = lms_to_oklab(light @ rgb_to_lms(rgb_to_pcs(space)).T)
    expected = [coloraide.Color(name, rgb).convert("oklab")[:3] for rgb in light.tolist()]
    # By way of D50 and back, with a Bradford matrix of four digits.
    np.testing.assert_allclose(found, expected, rtol=0, atol=2e-5)


def test_and_back() -> None:
    lms = np.random.default_rng(2).random((200, 3)) * 2 - 0.5
    np.testing.assert_allclose(lms, oklab_to_lms(lms_to_oklab(lms)), rtol=0, atol=1e-12)
