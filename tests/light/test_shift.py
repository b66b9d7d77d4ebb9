"""Shifts: pieces cut from photographs at known places."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from pipeline.light.shift import overlapping, shift_between
from tests.light.blurs import SHARP, linear, photograph


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
@pytest.mark.parametrize(("right", "down"), [(0, 0), (3, -2), (-7, 5)])
def test_pieces_of_a_photograph(name: tuple[str, str], right: int, down: int) -> None:
    light = linear(photograph(*name))[50:250, 50:350]
    one, other = light[20:120, 20:170], light[20 - down : 120 - down, 20 - right : 170 - right]
    found = shift_between(one, other)
    assert (found.down, found.right) == (down, right)
    assert found.likeness > 0.999
    here, there = overlapping(one, other, found.right, found.down)
    assert here.tolist() == there.tolist()


@given(
    arrays.arrays(np.float64, (12, 17), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 1.0])),
    arrays.arrays(np.float64, (12, 17), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 1.0])),
)
def test_any_two_pictures(one: np.ndarray, other: np.ndarray) -> None:
    found = shift_between(one, other)
    assert -1.0001 <= found.likeness <= 1.0001
    assert (abs(found.down) <= 1, abs(found.right) <= 2) == (True, True)


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1)])
def test_odd_shapes(shape: tuple[int, int]) -> None:
    flat = np.full(shape, 0.5)
    assert shift_between(flat, flat).likeness == 0.0
