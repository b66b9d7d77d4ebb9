"""Total ink, counted by hand and by numpy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.ink import Ink, total_ink
from tests.render.charts import image_of


def test_a_picture_of_three_patches() -> None:
    # 2000 pixels of paper, one of all inks, one of 300 %.
    picture = np.zeros((1, 2002, 4), np.uint8)
    picture[0, 5] = 255
    picture[0, 9, :3] = 255
    found = total_ink(image_of(picture), 280)
    assert (found.most, found.nearly_most) == (400.0, 0.0)
    assert found.over == pytest.approx(2 / 2002)


@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.integers(1, 40), st.floats(100, 400))
def test_any_picture(seed: int, width: int, height: int, limit: float) -> None:
    picture = np.random.default_rng(seed).integers(0, 256, (height, width, 4), np.uint8)
    total = picture.sum(axis=-1, dtype=int) / 2.55
    found = total_ink(image_of(picture), limit)
    assert found.most == pytest.approx(total.max())
    assert found.over == pytest.approx((total > limit).mean())
    assert (total <= found.nearly_most + 1e-9).mean() >= 0.999
    assert (total < found.nearly_most - 1e-9).mean() < 0.999


def test_without_a_limit_nothing_is_above_it() -> None:
    assert total_ink(image_of(np.full((2, 2, 4), 255, np.uint8)), None) == Ink(400.0, 400.0, None)


@pytest.mark.parametrize(("limit", "over"), [(399.9, 1.0), (400.0, 0.0)])
def test_the_limit_itself_is_allowed(limit: float, over: float) -> None:
    assert over == total_ink(image_of(np.full((2, 2, 4), 255, np.uint8)), limit).over
