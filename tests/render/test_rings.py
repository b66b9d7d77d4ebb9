"""Dark rings: bounded beside what is bright, nowhere else, and no light made or lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.render.rings import DEPTH, TILE, without_dark_rings
from tests.render import reference

if TYPE_CHECKING:
    from tests.render.charts import Array


shapes = st.tuples(st.integers(1, 12), st.integers(1, 12), st.sampled_from([1, 3]))


def light(shape: tuple[int, ...], low: float = 0.0) -> st.SearchStrategy[Array]:
    return arrays(np.float32, shape, elements=st.floats(low, 1, width=32))


@given(st.data(), shapes)
def test_it_is_the_plain_sum_over_neighbours(data: st.DataObject, shape: tuple[int, int, int]) -> None:
    sharp, soft = data.draw(light(shape, -0.125)), data.draw(light(shape))
    expected = reference.without_dark_rings(sharp.astype(np.float64), soft.astype(np.float64))
    found = without_dark_rings(sharp, soft, None)
    np.testing.assert_allclose(found, np.maximum(expected, 0), rtol=0, atol=2e-6)


def test_tiles_leave_no_seams() -> None:
    rng = np.random.default_rng(12233)
    sharp = rng.random((2 * TILE[0] + 9, TILE[1] + 9, 3), np.float32)
    soft = rng.random(sharp.shape, np.float32)
    expected = np.maximum(reference.without_dark_rings(sharp.astype(np.float64), soft.astype(np.float64)), 0)
    np.testing.assert_allclose(without_dark_rings(sharp, soft, None), expected, rtol=0, atol=2e-6)


@given(st.data(), shapes)
def test_light_is_neither_made_nor_lost(data: st.DataObject, shape: tuple[int, int, int]) -> None:
    # From above every bound, so that nothing has to be cut off at black.
    soft = data.draw(light(shape))
    sharp = np.abs(data.draw(light(shape)))
    found = without_dark_rings(sharp, soft, None)
    assert found.sum(dtype=np.float64) == pytest.approx(sharp.sum(dtype=np.float64), rel=1e-5, abs=1e-5)


@given(st.data(), shapes)
def test_nobody_gives_more_than_it_has(data: st.DataObject, shape: tuple[int, int, int]) -> None:
    sharp, soft = data.draw(light(shape)), data.draw(light(shape))
    bound = (1 - DEPTH) * reference._nine(soft.astype(np.float64), np.inf).min(axis=(-1, -2))
    found = without_dark_rings(sharp, soft, None)
    assert (found >= np.minimum(sharp, bound) - 1e-5).all()


def test_what_is_as_dark_as_it_looks_stays() -> None:
    # A dark line, as dark for the soft kernel as for the sharp one, in the bright.
    line = np.full((9, 9, 1), 0.9, np.float32)
    line[:, 4] = 0.02
    np.testing.assert_array_equal(without_dark_rings(line, line, 1.0), line)


def test_a_ring_is_filled_from_the_light_that_made_it() -> None:
    soft = np.full((7, 7, 1), 0.18, np.float32)
    soft[3, 3] = 0.9
    sharp = soft.copy()
    sharp[2:5, 2:5] = 0.12
    sharp[3, 3] = 0.95
    found = without_dark_rings(sharp, soft, 1.0)
    assert found[2, 3, 0] == pytest.approx(0.18 * (1 - DEPTH), abs=1e-6)
    assert found[3, 3, 0] < 0.95
    assert found.sum() == pytest.approx(sharp.sum(), rel=1e-6)


def test_light_is_held_to_what_the_encoding_can_hold() -> None:
    sharp = np.array([[[-0.25], [0.5], [1.25]]], np.float32)
    soft = np.array([[[0.0], [0.5], [1.0]]], np.float32)
    held = without_dark_rings(sharp, soft, 1.0)
    assert (held.min(), held.max()) == (0, 1)
    assert without_dark_rings(sharp, soft, None).max() > 1
