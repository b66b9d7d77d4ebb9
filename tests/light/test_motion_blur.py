"""Blur along a line: photographs convolved with lines of known length and direction, and such as are not smeared."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.ndimage import gaussian_filter

from pipeline.light.motion_blur import NO_STREAK, Streak, streak
from tests.light.blurs import SHAKEN, SHARP, blurred, coded, disk, line, linear, photograph, tiles_of

# The bounds of the house's thresholds.
CLEAR, DEEP = 7.0, 0.012
LENGTHS, ANGLES = (6, 8, 12, 18, 24, 30), (0, 25, 45, 70, 90, 115, 150)


def is_told(one: Streak) -> bool:
    return one.prominence >= CLEAR and one.depth >= DEEP


def is_right(one: Streak, length: float, angle: float) -> bool:
    """Return whether a streak is within 15 % and 10 degrees."""
    off = abs(one.angle_deg - angle) % 180
    return abs(one.length_px - length) <= 0.15 * length and min(off, 180 - off) <= 10


def seen(name: tuple[str, str], kernel: np.ndarray | None, noise: float = 0.0) -> Streak:
    """Return what is found in a photograph after blur, noise (sigma of encoded values) and rounding to 8 bits."""
    light = linear(photograph(*name))
    codes = coded(blurred(light, kernel) if kernel is not None else light).astype(np.float64) / 255
    codes += np.random.default_rng(7).normal(0.0, noise, codes.shape) if noise else 0.0
    return streak(tiles_of(np.rint(np.clip(codes, 0, 1) * 255) ** 2 / 255**2))


def test_length_and_angle_of_known_lines(request: pytest.FixtureRequest) -> None:
    """All within 15 % and 10 degrees where the streak is told; told in at least nineteen of twenty."""
    lengths, angles = (LENGTHS, ANGLES) if request.config.getoption("--full") else (LENGTHS[::2], ANGLES[1::3])
    cases = list(itertools.product(SHARP, lengths, angles))
    found = [(seen(name, line(length, angle)), length, angle) for name, length, angle in cases]
    told = [one for one in found if is_told(one[0])]
    assert [one for one in told if not is_right(*one)] == []
    assert len(told) >= 0.95 * len(cases)


@pytest.mark.parametrize("noise", [0.01, 0.02])
def test_what_is_told_in_spite_of_noise_is_right(noise: float, request: pytest.FixtureRequest) -> None:
    names = SHARP if request.config.getoption("--full") else SHARP[::3]
    found = [(seen(name, line(length, 65), noise), length, 65) for name in names for length in (8, 18, 30)]
    assert [one for one in found if is_told(one[0]) and not is_right(*one)] == []


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_sharp_and_defocused_photographs_are_not_smeared(name: tuple[str, str]) -> None:
    assert [is_told(seen(name, kernel)) for kernel in (None, disk(3.0), disk(7.0))] == [False] * 3
    light = gaussian_filter(linear(photograph(*name)), 2.5)
    assert not is_told(streak(tiles_of(light)))


def test_a_photograph_taken_with_a_moving_camera() -> None:
    """The package says: a clock on a wall, the camera moved about horizontally."""
    found = seen(SHAKEN, None)
    assert is_told(found)
    assert min(found.angle_deg, 180 - found.angle_deg) < 10


@pytest.mark.parametrize("value", [0.0, 0.18, 1.0])
def test_flat_tiles_say_nothing(value: float) -> None:
    assert not is_told(streak([np.full((128, 128), value)]))


def test_tiles_that_are_too_small_say_nothing() -> None:
    assert streak([]) == NO_STREAK
    assert streak([np.random.default_rng(1).random((1, 400))]) == NO_STREAK


@given(arrays.arrays(np.float64, (64, 70), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 0.5])))
def test_any_tile_gives_finite_numbers(tile: np.ndarray) -> None:
    found = streak([tile])
    assert np.isfinite([found.length_px, found.angle_deg, found.depth, found.prominence]).all()
    assert 0.0 <= found.angle_deg < 180.0
