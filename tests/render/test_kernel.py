"""The kernels' weights: sums, shapes, edges."""

from __future__ import annotations

import numpy as np
import pytest
import threadpoolctl
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.kernel import SHARP, SOFT, Kernel, Places, band, bands, one_thread
from tests.render import reference

KERNELS = [(SHARP, reference.SHARP), (SOFT, reference.SOFT)]


@st.composite
def reductions(draw: st.DrawFn) -> tuple[int, int]:
    source = draw(st.integers(1, 500))
    return source, draw(st.integers(1, source))


@pytest.mark.parametrize("kernel", [SHARP, SOFT])
@given(sides=reductions())
def test_each_place_takes_the_whole_of_what_it_is_given(kernel: Kernel, sides: tuple[int, int]) -> None:
    source, target = sides
    one = band(kernel, Places.over(source, target), source)
    assert 0 <= one.start < one.stop <= source
    np.testing.assert_allclose(one.weights.sum(axis=1), 1, rtol=0, atol=2e-6)


@pytest.mark.parametrize(("kernel", "judge"), KERNELS)
@given(sides=reductions())
def test_the_weights_are_those_of_the_plain_sum(
    kernel: Kernel, judge: reference.Kernel, sides: tuple[int, int]
) -> None:
    source, target = sides
    one = band(kernel, Places.over(source, target), source)
    expected = np.zeros((target, source))
    places = np.asarray((np.arange(target) + 0.5) * (source / target) - 0.5, dtype=np.float64)
    at, weights = reference.taps(judge, places, source / target, source)
    np.add.at(expected, (np.arange(target)[:, None], at), weights)
    found = np.zeros((target, source))
    found[:, one.start : one.stop] = one.weights
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-6)


def test_the_sharp_kernel_is_lanczos_of_three_lobes() -> None:
    # Duchon 1979: a sinc under the main lobe of a sinc three times as wide; worked out by hand at a few places.
    assert SHARP.shape(np.array([0.0, 0.5, 1.0, 1.5])) == pytest.approx(
        [1, (2 / np.pi) * (3 / np.pi), 0, (-2 / (3 * np.pi)) * (2 / np.pi)], abs=1e-12
    )


def test_the_soft_kernel_never_rings() -> None:
    assert SOFT.shape(np.linspace(-SOFT.reach, SOFT.reach, 999)).min() >= 0


def test_moved_places_are_places_further_on() -> None:
    places = Places(10.25, 2.5, 4)
    moved = bands(SHARP, places, np.array([0.0, 0.75]))
    alone = bands(SHARP, Places(11.0, 2.5, 4), np.zeros(1))
    low = alone.start - moved.start
    np.testing.assert_allclose(moved.weights[1, :, low : low + alone.length], alone.weights[0], rtol=0, atol=1e-7)


@given(st.integers(1, 90), st.integers(1, 40))
def test_runs_are_all_the_places_in_order(count: int, length: int) -> None:
    places = Places(0.75, 2.5, count)
    runs = list(places.runs(length))
    assert [start for start, _ in runs] == list(range(0, count, length))
    np.testing.assert_allclose(np.concatenate([run.all for _, run in runs]), places.all, rtol=1e-12)


def test_products_of_matrices_take_one_thread() -> None:
    with threadpoolctl.threadpool_limits(2, "blas"), one_thread():
        found = {one["num_threads"] for one in threadpoolctl.threadpool_info() if one["user_api"] == "blas"}
    assert found <= {1}
