"""The average colour against colour-science, and against mixtures that can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB, RGBSpace
from pipeline.render.average import average_colour
from tests.light import colour_science
from tests.render.charts import Array, image_of

SPACES = [(SRGB, colour_science.SRGB), (DISPLAY_P3, colour_science.DISPLAY_P3), (ADOBE_RGB, colour_science.ADOBE_RGB)]
small = st.tuples(st.integers(1, 7), st.integers(1, 7))


def halves(one: tuple[int, int, int], other: tuple[int, int, int]) -> Array:
    pixels = np.empty((4, 4, 3), np.uint8)
    pixels[:, :2], pixels[:, 2:] = one, other
    return pixels


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        ((0, 0, 0), (0, 0, 0), "#000000"),
        ((255, 255, 255), (255, 255, 255), "#ffffff"),
        ((18, 52, 86), (18, 52, 86), "#123456"),
        ((0, 0, 0), (255, 255, 255), "#bcbcbc"),
        ((255, 0, 0), (0, 0, 255), "#bc00bc"),
    ],
)
def test_half_the_light_of_white_is_188(one: tuple[int, int, int], other: tuple[int, int, int], expected: str) -> None:
    """IEC 61966-2-1: 1.055 * 0.5 ** (1 / 2.4) - 0.055 = 0.7354, times 255 is 187.5, rounded 188 (0xbc)."""
    assert expected == average_colour(image_of(halves(one, other)), SRGB)


@pytest.mark.parametrize(("space", "name"), SPACES, ids=[name for _, name in SPACES])
@given(size=small, seed=st.integers(0, 2**32 - 1))
def test_the_mean_is_that_of_the_light_seen_in_srgb(
    space: RGBSpace, name: str, size: tuple[int, int], seed: int
) -> None:
    """Within one level of 8 bits: colour-science prints its matrices with fewer digits."""
    pixels = np.random.default_rng(seed).integers(0, 256, (*size, 3), dtype=np.uint8)
    light = colour_science.linear(pixels / 255, name).mean(axis=(0, 1))
    matrix = np.linalg.inv(colour_science.pcs_matrix(colour_science.SRGB)) @ colour_science.pcs_matrix(name)
    mean = np.clip(matrix @ light, 0, 1)
    shown = average_colour(image_of(pixels), space)
    levels = np.array([int(shown[at : at + 2], 16) for at in (1, 3, 5)])
    low, high = (colour_science.linear((levels + step) / 255, colour_science.SRGB) for step in (-1, 1))
    assert np.all((low <= mean) & (mean <= high)), (shown, mean)


def test_what_lies_outside_srgb_is_clipped_into_it() -> None:
    green = np.full((2, 2, 3), (0, 255, 0), np.uint8)
    assert average_colour(image_of(green), DISPLAY_P3) == "#00ff00"
