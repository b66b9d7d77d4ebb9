"""Blur and reduction by area against scipy and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from skimage.transform import resize_local_mean

from pipeline.light.smooth import by_area, gaussian

CHANCE = np.random.default_rng(5)


@pytest.mark.parametrize("sigma", [0.8, 1.2, 2.0, 3.5])
@pytest.mark.parametrize("shape", [(40, 60), (17, 5), (30, 40, 3)])
def test_a_gaussian_is_scipys(sigma: float, shape: tuple[int, ...]) -> None:
    values = CHANCE.random(shape)
    spread = (sigma, sigma, 0)[: len(shape)]
    reach = int(np.ceil(3 * sigma))
    theirs = ndimage.gaussian_filter(values, spread, mode="nearest", radius=(reach, reach, 0)[: len(shape)])
    np.testing.assert_allclose(gaussian(values, sigma), theirs, atol=1e-12)


@pytest.mark.parametrize(("size", "long_side"), [((60, 40), 30), ((61, 40), 17), ((33, 97), 96), ((50, 50), 1)])
def test_a_mean_over_areas_is_scikit_images(size: tuple[int, int], long_side: int) -> None:
    values = CHANCE.random((size[1], size[0]))
    scale = long_side / max(size)
    wanted = tuple(max(1, round(side * scale)) for side in size[::-1])
    theirs = resize_local_mean(values, wanted)
    np.testing.assert_allclose(by_area(values, long_side), theirs, atol=1e-12)


@settings(deadline=None)
@given(st.integers(1, 60), st.integers(1, 60), st.integers(1, 60), st.floats(0.3, 4))
def test_the_mean_of_a_constant_is_the_constant(height: int, width: int, long_side: int, sigma: float) -> None:
    flat = np.full((height, width, 3), 0.18)
    np.testing.assert_allclose(by_area(flat, long_side), 0.18, atol=1e-12)
    np.testing.assert_allclose(gaussian(flat, sigma), 0.18, atol=1e-12)


def test_nothing_is_enlarged() -> None:
    values = CHANCE.random((3, 4))
    assert by_area(values, 9) is values
