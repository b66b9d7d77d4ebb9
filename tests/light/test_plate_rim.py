"""Rims: ellipses drawn at known places, and scikit-image's fit of the same points."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from skimage.measure import EllipseModel

from pipeline.light.box import Region
from pipeline.light.plate_rim import Ellipse, away, fitted, plate_rim

KEEP = Region(0.15, 0.2, 0.85, 0.8)


def dish(ellipse: Ellipse, shape: tuple[int, int] = (400, 600)) -> np.ndarray:
    """Return a dish with a rim two lines wide on a dark table, and bits on it."""
    down, right = np.mgrid[: shape[0], : shape[1]].astype(np.float64)
    turn = np.radians(ellipse.tilt_deg)
    u = (right - ellipse.x) * np.cos(turn) + (down - ellipse.y) * np.sin(turn)
    v = (down - ellipse.y) * np.cos(turn) - (right - ellipse.x) * np.sin(turn)
    out = (1 - np.hypot(u / ellipse.long, v / ellipse.short)) * ellipse.short
    light = 0.3 + 0.5 * np.clip(out + 0.5, 0, 1)
    chance = np.random.default_rng(1)
    for x, y in chance.uniform(0.3, 0.7, (30, 2)) * np.array(shape[::-1]):
        light[np.hypot(right - x, down - y) < chance.uniform(3, 9)] = chance.uniform(0.2, 0.9)
    return np.asarray(light)


@pytest.mark.parametrize("tilt", [-6.0, -1.0, 0.0, 2.5])
@pytest.mark.parametrize("flat", [0.35, 0.6, 0.85])
def test_a_rim_that_is_drawn(tilt: float, flat: float) -> None:
    drawn = Ellipse(310.0, 195.0, 190.0, 190.0 * flat, tilt)
    keep = Region(120 / 600, (195 - 190 * flat) / 400, 500 / 600, (195 + 190 * flat) / 400)
    rim = plate_rim(dish(drawn), keep)
    assert rim is not None
    assert rim.agreed > 0.8
    assert rim.ellipse.tilt_deg == pytest.approx(tilt, abs=0.3 if flat < 0.8 else 1.0)
    assert rim.ellipse.short / rim.ellipse.long == pytest.approx(flat, abs=0.015)


def test_the_fit_is_the_library_s() -> None:
    chance = np.random.default_rng(6)
    turn = chance.uniform(0, 2 * np.pi, 80)
    x, y = 50 + 40 * np.cos(turn) + chance.normal(0, 0.3, 80), 60 + 25 * np.sin(turn) + chance.normal(0, 0.3, 80)
    found = fitted(x, y)
    other = EllipseModel.from_estimate(np.stack([x, y], 1))
    assert found is not None
    expected = (*other.center, max(other.axis_lengths), min(other.axis_lengths))
    assert (found.x, found.y, found.long, found.short) == pytest.approx(expected, rel=1e-4)
    assert away(found, x, y).mean() < 0.4


def test_no_rim_in_noise() -> None:
    rim = plate_rim(np.random.default_rng(3).random((300, 450)), KEEP)
    assert rim is None or rim.agreed < 0.6


@pytest.mark.parametrize("shape", [(1, 1), (1, 300), (300, 1), (4, 4)])
def test_odd_shapes_have_none(shape: tuple[int, int]) -> None:
    assert plate_rim(np.random.default_rng(4).random(shape), KEEP) is None


@settings(max_examples=25)
@given(arrays.arrays(np.float64, (50, 60), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 1.0])))
def test_any_picture_gives_finite_numbers(light: np.ndarray) -> None:
    rim = plate_rim(light, KEEP)
    if rim:
        ellipse = rim.ellipse
        assert np.isfinite([ellipse.x, ellipse.y, ellipse.long, ellipse.short, ellipse.tilt_deg]).all()
        assert 0 < ellipse.short <= ellipse.long
