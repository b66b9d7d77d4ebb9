"""Pixels of any space on a screen: the whole against LittleCMS in `test_output_profile.py`, samples here."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.light.spaces import DISPLAY_P3
from pipeline.render.screen import ENOUGH, in_srgb, sample
from tests.light import colour_science
from tests.render.charts import colour_grid, image_of


def test_a_wider_space_is_converted() -> None:
    codes = colour_grid(51)
    found = in_srgb(image_of(codes[None]), DISPLAY_P3).numpy()[0]
    expected = colour_science.converted(codes / 255, colour_science.DISPLAY_P3, colour_science.SRGB)
    assert np.abs(found - 255 * np.clip(expected, 0, 1)).max() <= 0.6


@pytest.mark.parametrize(("height", "width"), [(1, 1), (3, 700), (ENOUGH, ENOUGH), (900, 1301)])
def test_a_sample_has_the_mean_of_the_whole(height: int, width: int) -> None:
    across, down = np.linspace(20, 230, width)[None, :, None], np.linspace(0, 20, height)[:, None, None]
    picture = np.broadcast_to(across + down, (height, width, 4)).round().astype(np.uint8)
    found = sample(image_of(picture)).numpy()
    assert found.shape[0] <= 2 * ENOUGH
    assert found.shape[1] <= 2 * ENOUGH
    assert np.abs(found.mean(axis=(0, 1)) - picture.mean(axis=(0, 1))).max() < 1.5
