"""Noise: Gaussian of a known sigma on smooth scenes and on photographs whose own noise was taken away."""

from __future__ import annotations

from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from scipy import ndimage
from skimage.restoration import estimate_sigma

from pipeline.light.noise import flattest, noise, noise_sigmas, unevenness

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

CHANCE = np.random.default_rng(17)
SIDE = 32


def tiles_of(picture: Picture) -> Picture:
    """Return all tiles of a picture, count x 32 x 32 x bands."""
    height, width, bands = picture.shape
    down, across = height // SIDE, width // SIDE
    cut = picture[: down * SIDE, : across * SIDE].reshape(down, SIDE, across, SIDE, bands)
    return cut.transpose(0, 2, 1, 3, 4).reshape(-1, SIDE, SIDE, bands)


def smooth_scene(bands: int) -> Picture:
    """Return soft light that falls off across a table: 20 to 230 of 255, no detail."""
    down, across = np.mgrid[0:256, 0:384]
    light = 125 + 60 * np.sin(down / 90) + 45 * np.cos(across / 140)
    return np.stack([light * (1 - 0.1 * band) for band in range(bands)], axis=-1)


def without_noise(name: str) -> Picture:
    """Return a photograph that a package ships, softened so that nothing of its own differs from pixel to pixel."""
    package = "sklearn.datasets.images" if name in ("china.jpg", "flower.jpg") else "skimage.data"
    with (files(package) / name).open("rb") as stream:
        picture = np.asarray(Image.open(stream).convert("RGB"), dtype=np.float64)
    return np.asarray(ndimage.gaussian_filter(picture, (2, 2, 0)))


def noisy(picture: Picture, sigma: float) -> Picture:
    """Return a picture in whole levels with noise added."""
    return np.rint(picture + CHANCE.normal(0, sigma, picture.shape))


def without_rounding(sigma: float) -> float:
    return float(np.sqrt(max(sigma**2 - 1 / 12, 0)))  # the variance of rounding to whole levels


@pytest.mark.parametrize("sigma", [1, 2, 3, 5, 8, 11, 15])
@pytest.mark.parametrize("bands", [1, 3])
def test_on_smooth_scenes_within_5_percent(sigma: float, bands: int) -> None:
    found = noise(tiles_of(noisy(smooth_scene(bands), sigma)))
    assert sigma == pytest.approx(without_rounding(found.sigma), rel=0.05)
    assert found.flat


@pytest.mark.parametrize("sigma", [1, 3, 8, 15])
@pytest.mark.parametrize("name", ["astronaut.png", "chelsea.png", "coffee.png", "rocket.jpg", "china.jpg", "grass.png"])
def test_on_photographs_within_10_percent(name: str, sigma: float) -> None:
    found = noise(tiles_of(noisy(without_noise(name), sigma)))
    assert sigma == pytest.approx(without_rounding(found.sigma), rel=0.10)


@pytest.mark.parametrize("sigma", [2.0, 6.0])
def test_an_independent_estimate_says_the_same(sigma: float) -> None:
    # scikit-image: median of the finest wavelet's coefficients, Donoho and Johnstone 1994.
    scene = smooth_scene(1) + CHANCE.normal(0, sigma, (256, 384, 1))
    theirs = estimate_sigma(scene[..., 0])
    assert theirs == pytest.approx(noise(tiles_of(scene)).sigma, rel=0.06)


@pytest.mark.parametrize("name", ["grass.png", "gravel.png"])
def test_texture_is_not_taken_for_sure_noise(name: str) -> None:
    with (files("skimage.data") / name).open("rb") as stream:
        picture = np.asarray(Image.open(stream).convert("RGB"), dtype=np.float64)
    assert not noise(tiles_of(picture)).flat


def test_flat_tiles_are_not_chosen_for_being_quiet() -> None:
    tiles = CHANCE.normal(0, 4, (400, SIDE, SIDE, 1))
    assert noise_sigmas(flattest(tiles)).mean() == pytest.approx(4.0, rel=0.02)


@given(st.floats(-3, 3), st.floats(-3, 3), st.floats(-100, 100))
def test_a_plane_has_no_noise(across: float, down: float, level: float) -> None:
    rows, columns = np.mgrid[0:SIDE, 0:SIDE]
    plane = (level + across * columns + down * rows)[None, :, :, None]
    assert noise_sigmas(plane)[0] < 1e-9


def test_no_tile_has_no_noise() -> None:
    found = noise(np.zeros((0, SIDE, SIDE, 3)))
    assert (found.sigma, found.flat) == (0.0, False)
    assert unevenness(np.ones((2, 9, 11, 1))).tolist() == [0.0, 0.0]
