"""Two lights in one picture: photographs lit by a lamp from one side, and photographs in one light."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.light.mixed_light import mixed_light
from tests.light.test_white_point import photograph, under

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

SURE, APART = 0.5, 0.03
LAMP = (0.4053, 0.3907)  # 3500 K
IN_WHITE_LIGHT = ["astronaut.png", "motorcycle_left.png", "ihc.png"]


def lamp_from(picture: Picture, way: Literal["across", "down"]) -> Picture:
    """Return a picture with daylight at the left or top and a lamp at the right or bottom, and both in between."""
    count = picture.shape[1 if way == "across" else 0]
    lamp = np.clip(np.linspace(-0.5, 1.5, count), 0, 1)
    lamp = lamp[None, :, None] if way == "across" else lamp[:, None, None]
    return (1 - lamp) * picture + lamp * under(picture, LAMP)


@pytest.mark.parametrize("name", IN_WHITE_LIGHT)
@pytest.mark.parametrize("way", ["across", "down"])
def test_a_lamp_at_one_side_is_seen_and_where(name: str, way: Literal["across", "down"]) -> None:
    found = mixed_light(lamp_from(photograph("skimage.data", name), way), SURE)
    assert found is not None
    assert way == found.way
    assert found.distance > APART
    assert np.hypot(*found.before) < 0.02 < np.hypot(*found.behind)
    assert 0.3 < found.cut < 0.7
    turned = mixed_light(lamp_from(photograph("skimage.data", name), way)[::-1, ::-1], SURE)
    assert turned is not None
    assert np.hypot(*turned.behind) < 0.02 < np.hypot(*turned.before)


@pytest.mark.parametrize("name", [*IN_WHITE_LIGHT, "coffee.png", "chelsea.png", "rocket.jpg", "brick.png"])
def test_photographs_in_one_light_are_not_mixed(name: str) -> None:
    found = mixed_light(photograph("skimage.data", name), SURE)
    assert found is None or found.distance < APART


def test_one_lamp_for_all_of_it_is_not_mixed() -> None:
    found = mixed_light(under(photograph("skimage.data", "astronaut.png"), LAMP), SURE)
    assert found is None or found.distance < APART


anything = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(max_examples=20)
@given(arrays(np.float64, st.tuples(st.integers(1, 14), st.integers(1, 14), st.just(3)), elements=anything))
def test_any_numbers_give_a_finite_answer(values: Picture) -> None:
    found = mixed_light(values, SURE)
    assert found is None or np.isfinite([found.distance, found.cut, *found.before, *found.behind]).all()
