"""Widths of edges: steps blurred by scipy with a known sigma, at any slant and size; and pictures that have none."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.ndimage import gaussian_filter, map_coordinates

from pipeline.light.box import Region
from pipeline.light.edge_width import between_pixels, edges, in_ellipse, step_widths
from pipeline.light.smooth import by_area
from tests.light.blurs import SHARP, coded, linear, photograph


def slanted(side: int, angle_deg: float, sigma: float) -> np.ndarray:
    """Return a step through the middle of a square, dark to light at that angle, blurred."""
    down, right = np.mgrid[:side, :side] - (side - 1) / 2
    away = right * np.cos(np.radians(angle_deg)) + down * np.sin(np.radians(angle_deg))
    return np.asarray(gaussian_filter(np.clip(away + 0.5, 0, 1) * 0.6 + 0.2, sigma))


def planes(codes: np.ndarray) -> np.ndarray:
    return np.ascontiguousarray(codes.transpose(2, 0, 1))


@pytest.mark.parametrize("angle", [3.0, 45.0, 70.0, 200.0])
@pytest.mark.parametrize("sigma", [1.0, 1.5, 3.0, 6.0])
@pytest.mark.parametrize("reduction", [1, 3])
def test_sigma_of_a_slanted_step(angle: float, sigma: float, reduction: int) -> None:
    """Within 10 %, or a quarter of a pixel: the step's own pixel is in it."""
    step = slanted(480, angle, sigma)
    codes = np.rint(step * 65535).astype(np.uint16)[None]
    found = edges(codes, by_area(step, 480 // reduction))
    middle = found.only(np.hypot(found.x - 0.5, found.y - 0.5) < 0.35)
    assert middle.x.size >= 10
    assert np.median(middle.sigma_px) == pytest.approx(sigma, rel=0.10, abs=0.25)
    turned = np.degrees(np.arctan2(middle.across_y, middle.across_x)) % 360
    assert np.median(turned) == pytest.approx(angle, abs=5.0)


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_more_blur_is_wider(name: tuple[str, str]) -> None:
    """A tenth of the edges of a photograph, after blur by a known sigma, is that wide or a little wider."""
    light = linear(photograph(*name))
    widths = []
    for sigma in (1.0, 2.0, 4.0):
        soft = gaussian_filter(light, sigma)
        found = edges(coded(soft)[None], np.sqrt(soft))
        widths.append(float(np.percentile(found.sigma_px, 10)))
    assert widths == sorted(widths)
    assert widths[1] == pytest.approx(2.0, rel=0.35)


def test_between_pixels_is_bilinear() -> None:
    chance = np.random.default_rng(3)
    codes = chance.integers(0, 256, (3, 20, 30), dtype=np.uint8)
    down, right = chance.uniform(0, 19, 200), chance.uniform(0, 29, 200)
    expected = map_coordinates(codes.mean(axis=0) / 255, [down, right], order=1)
    assert between_pixels(codes, down, right) == pytest.approx(expected, abs=1e-12)


def test_a_flat_step_has_no_width() -> None:
    sigma, height = step_widths(np.zeros((3, 41)), 4)
    assert (sigma.tolist(), height.tolist()) == ([0.0] * 3, [0.0] * 3)


def test_the_corners_of_a_region_are_not_in_its_ellipse() -> None:
    step = slanted(300, 45.0, 1.0)
    found = edges(np.rint(step * 255).astype(np.uint8)[None], step)
    inside = in_ellipse(found, Region(0.0, 0.0, 1.0, 1.0))
    expected = np.hypot(found.x - 0.5, found.y - 0.5) < 0.5
    assert inside.tolist() == expected.tolist()


@pytest.mark.parametrize("shape", [(1, 1), (1, 300), (300, 1), (5, 5), (7, 400)])
def test_odd_shapes_give_finite_numbers(shape: tuple[int, int]) -> None:
    codes = np.random.default_rng(5).integers(0, 256, (*shape, 3), dtype=np.uint8)
    found = edges(planes(codes), np.sqrt(linear(codes)))
    assert np.isfinite(found.sigma_px).all()


@given(arrays.arrays(np.uint8, (3, 24, 31), fill=st.sampled_from([0, 128, 255])))
def test_any_picture_gives_finite_numbers(codes: np.ndarray) -> None:
    found = edges(codes, codes.mean(axis=0) / 255)
    values = (found.x, found.y, found.sigma_px, found.contrast, found.across_x, found.across_y)
    assert all(np.isfinite(one).all() for one in values)
    assert all(one.min(initial=0.0) >= 0 and one.max(initial=0.0) <= 1 for one in (found.x, found.y))
