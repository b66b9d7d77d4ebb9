"""Blur and reduction by area against scipy and scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from skimage.measure import block_reduce
from skimage.transform import resize_local_mean

from pipeline.light.smooth import by_area, by_blocks, finite, gaussian

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


@pytest.mark.parametrize(
    ("shape", "long_side", "block"),
    [((60, 41), 20, 3), ((60, 41, 3), 21, 2), ((7, 100), 10, 7), ((5, 5), 9, 1), ((9, 12), 6, 2)],
)
def test_means_of_blocks_are_scikit_images(shape: tuple[int, ...], long_side: int, block: int) -> None:
    values = CHANCE.random(shape)
    height, width = shape[0] // block * block, shape[1] // block * block
    theirs = block_reduce(values[:height, :width], (block, block, 1)[: len(shape)], np.mean)
    np.testing.assert_allclose(by_blocks(values, long_side), theirs, atol=1e-12)


def test_what_is_no_number_becomes_one() -> None:
    values = np.array([[np.nan, np.inf, -np.inf, 0.5, 1e200]])
    assert finite(values).tolist() == [[0.0, 1e6, -1e6, 0.5, 1e6]]
    good = CHANCE.random((3, 4))
    assert finite(good) is good
