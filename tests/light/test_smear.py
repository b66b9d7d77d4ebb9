"""Smears: a coloured bar swept over a sharp ground by a known way, and things that only look like it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.ndimage import gaussian_filter, rotate

from pipeline.light.box import WHOLE, Region
from pipeline.light.edge_width import edges
from pipeline.light.smear import Smear, smears
from tests.light.blurs import LUMINANCE, blurred, coded, disk, line

HEIGHT, WIDTH = 600, 900


@cache
def ground() -> np.ndarray:
    """Return grey and orange spots with hard edges, linear."""
    chance = np.random.default_rng(11)
    light = np.full((HEIGHT, WIDTH, 3), [0.5, 0.18, 0.05])
    down, right = np.mgrid[:HEIGHT, :WIDTH]
    for x, y, size in chance.uniform((0, 0, 3), (WIDTH, HEIGHT, 9), (2000, 3)):
        box = np.s_[max(int(y) - 9, 0) : int(y) + 10, max(int(x) - 9, 0) : int(x) + 10]
        spot = (right[box] - x) ** 2 + (down[box] - y) ** 2 < size**2
        light[box][spot] = [0.5, 0.18, 0.05] * chance.uniform(0.3, 1.6, 1)
    return np.asarray(np.clip(gaussian_filter(light, (0.6, 0.6, 0)), 0, 1))


def cover(turn_deg: float) -> np.ndarray:
    """Return how much a bar, as wide as a spoon's handle, covers each pixel; at 0 degrees it lies level."""
    bar = np.zeros((HEIGHT, WIDTH))
    bar[HEIGHT // 2 - 7 : HEIGHT // 2 + 7, WIDTH // 2 - 130 : WIDTH // 2 + 130] = 1.0
    return np.asarray(np.clip(rotate(bar, -turn_deg, reshape=False, order=1), 0, 1))


def laid(over: np.ndarray, on: np.ndarray) -> np.ndarray:
    return np.asarray(on * (1 - over[..., None]) + np.array([0.35, 0.36, 0.38]) * over[..., None])


def found_in(light: np.ndarray, region: Region = WHOLE) -> list[Smear]:
    codes = np.ascontiguousarray(coded(light).transpose(2, 0, 1))
    sharp = edges(codes, np.sqrt(np.clip(light @ LUMINANCE, 0, 1)))
    return [one for one in smears(light, region, sharp, WIDTH) if one.amid_sharp > 0.7 and one.extent > 0.05]


@pytest.mark.parametrize("turn", [0.0, 30.0, 75.0, 120.0])
def test_a_bar_swept_across(turn: float) -> None:
    """Its blur is across the bar, and that of an even motion: length over the square root of 12."""
    length = 17.0
    light = laid(blurred(cover(turn), line(length, turn + 90)), ground())
    one = found_in(light)[0]
    off = abs(one.across_deg - (turn + 90)) % 180
    assert min(off, 180 - off) < 12
    assert one.sigma * WIDTH == pytest.approx(length / np.sqrt(12), rel=0.35)
    assert (one.one_way > 0.8, one.extent > 0.1) == (True, True)
    assert one.where.left < 0.5 < one.where.right or one.where.top < 0.5 < one.where.bottom


def test_a_bar_that_stands_still() -> None:
    assert found_in(laid(blurred(cover(30.0), disk(0.7)), ground())) == []


def test_what_lies_outside_the_region_is_not_looked_at() -> None:
    light = laid(blurred(cover(30.0), line(22.0, 120.0)), ground())
    assert found_in(light, Region(0.0, 0.0, 0.2, 0.3)) == []


def test_a_picture_out_of_focus_as_a_whole() -> None:
    light = laid(cover(30.0), ground())
    assert found_in(np.stack([blurred(light[..., band], disk(9.0)) for band in range(3)], axis=-1)) == []


def test_a_soft_shadow_is_no_smear() -> None:
    """It changes the lightness, hardly the colour."""
    shadow = gaussian_filter(cover(30.0), 8.0)[..., None]
    assert found_in(ground() * (1 - 0.6 * shadow)) == []


def test_a_round_thing_before_the_focus_is_blurred_all_ways() -> None:
    down, right = np.mgrid[:HEIGHT, :WIDTH]
    ball = ((right - 450) ** 2 + (down - 300) ** 2 < 70**2).astype(np.float64)
    assert all(one.one_way < 0.5 for one in found_in(laid(blurred(ball, disk(11.0)), ground())))


@pytest.mark.parametrize("shape", [(1, 1), (1, 700), (700, 1), (20, 30)])
def test_odd_shapes_have_none(shape: tuple[int, int]) -> None:
    assert found_in(np.random.default_rng(5).random((*shape, 3))) == []


@settings(max_examples=25)
@given(
    arrays.arrays(np.float64, (48, 60, 3), elements=st.floats(-0.1, 1.2), fill=st.sampled_from([0.0, 0.4, 1.0])),
    st.floats(0, 0.4),
    st.floats(0.5, 1),
)
def test_any_picture_gives_finite_numbers(light: np.ndarray, low: float, high: float) -> None:
    codes = np.ascontiguousarray(coded(np.clip(light, 0, 1)).transpose(2, 0, 1))
    sharp = edges(codes, np.sqrt(np.clip(light @ LUMINANCE, 0, 1)))
    for one in smears(light, Region(low, low, high, high), sharp, 60):
        assert np.isfinite([one.extent, one.sigma, one.across_deg, one.one_way, one.amid_sharp]).all()
