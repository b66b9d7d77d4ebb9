"""Curves, matrices and grids: one that holds a straight rule gives it back; any other, as the judge interpolates it."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.stages import CHUNK, Affine, Curves, Grid, evaluate
from pipeline.light.transfer import SRGB_CURVE, Parametric, Sampled
from tests.light.colour_science import SRGB, linear
from tests.render.icc_tables import interpolated

SHAPES = [(2,), (9,), (2, 2, 2), (5, 3, 4), (17, 17, 17), (3, 3, 3, 3), (2, 5, 4, 3)]
EACH_SHAPE = pytest.mark.parametrize("shape", SHAPES, ids=str)


def random_grid(shape: tuple[int, ...], outputs: int = 3) -> Grid:
    return Grid(np.random.default_rng(5).random((*shape, outputs)))


@EACH_SHAPE
@pytest.mark.parametrize("cubes", [False, True])
def test_a_grid_gives_its_own_entries_at_its_points(shape: tuple[int, ...], cubes: bool) -> None:  # noqa: FBT001 (a column)
    grid = Grid(random_grid(shape).table, cubes)
    nodes = np.stack(np.meshgrid(*(np.linspace(0, 1, count) for count in shape), indexing="ij"), -1)
    np.testing.assert_allclose(grid.table, evaluate([grid], nodes), rtol=0, atol=1e-12)


@EACH_SHAPE
@pytest.mark.parametrize("cubes", [False, True])
def test_between_them_it_gives_what_is_straight_exactly(shape: tuple[int, ...], cubes: bool) -> None:  # noqa: FBT001 (as above)
    rule = np.random.default_rng(6).random((len(shape), 4))
    nodes = np.stack(np.meshgrid(*(np.linspace(0, 1, count) for count in shape), indexing="ij"), -1)
    values = np.random.default_rng(7).random((500, len(shape)))
    np.testing.assert_allclose(values @ rule, evaluate([Grid(nodes @ rule, cubes)], values), rtol=0, atol=1e-12)


@EACH_SHAPE
@pytest.mark.parametrize("cubes", [False, True])
def test_any_other_as_the_judge_interpolates_it(shape: tuple[int, ...], cubes: bool) -> None:  # noqa: FBT001 (as above)
    grid = Grid(random_grid(shape).table, cubes)
    values = np.random.default_rng(8).random((300, len(shape)))
    np.testing.assert_allclose(
        interpolated(grid.table, values, multilinear=cubes), evaluate([grid], values), rtol=0, atol=1e-12
    )


@pytest.mark.parametrize("order", list(permutations((0.2, 0.5, 0.9))), ids=str)
def test_every_tetrahedron_has_its_corners(order: tuple[float, float, float]) -> None:
    # One corner is lit at a time: its share is the difference of two neighbours in the order of the parts.
    path = np.argsort(order)[::-1]
    shares: dict[tuple[int, ...], float] = {(0, 0, 0): 1 - order[path[0]], (1, 1, 1): order[path[2]]}
    one, two = np.zeros(3, int), np.zeros(3, int)
    one[path[0]], two[path[:2]] = 1, 1
    shares |= {tuple(one): order[path[0]] - order[path[1]], tuple(two): order[path[1]] - order[path[2]]}
    for corner in product((0, 1), repeat=3):
        table = np.zeros((2, 2, 2, 1))
        table[corner] = 1
        assert shares.get(corner, 0.0) == pytest.approx(float(evaluate([Grid(table)], np.array([order]))[0, 0]))


@given(st.lists(st.floats(-2, 3), min_size=3, max_size=3))
def test_a_grid_holds_to_its_edges(value: list[float]) -> None:
    grid = random_grid((4, 4, 4))
    there, held = (evaluate([grid], np.array([one])) for one in (value, np.clip(value, 0, 1)))
    np.testing.assert_array_equal(there, held)


def test_greys_stay_grey_on_the_diagonal_of_tetrahedra() -> None:
    axis = np.linspace(0, 1, 5) ** 2
    nodes = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1)
    greys = np.repeat(np.linspace(0, 1, 101)[:, None], 3, axis=1)
    found = evaluate([Grid(nodes)], greys)
    np.testing.assert_allclose(found[:, :1].repeat(3, 1), found, rtol=0, atol=1e-15)


def test_curves_are_those_of_transfer() -> None:
    values = np.random.default_rng(9).random((400, 3))
    samples = (np.linspace(0, 1, 37) ** 2.1).tolist()
    found = evaluate([Curves((SRGB_CURVE, Sampled(tuple(samples)), Parametric(1.8)))], values)
    np.testing.assert_allclose(linear(values[:, 0], SRGB), found[:, 0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(np.interp(values[:, 1], np.linspace(0, 1, 37), samples), found[:, 1], rtol=0, atol=1e-12)
    np.testing.assert_allclose(values[:, 2] ** 1.8, found[:, 2], rtol=0, atol=1e-12)


def test_a_matrix_comes_before_what_is_added() -> None:
    stage = Affine(np.array([[1.0, 2.0, 3.0]]), np.array([10.0]))
    assert evaluate([stage], np.array([[1.0, 1.0, 1.0]])).tolist() == [[16.0]]


@pytest.mark.parametrize("count", [0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 2 * CHUNK + 5])
def test_any_number_of_colours(count: int) -> None:
    values = np.random.default_rng(10).random((count, 3))
    double = Affine(2 * np.eye(3), np.zeros(3))
    np.testing.assert_array_equal(2 * values, evaluate([double], values))


def test_pictures_are_worked_out_in_float32_and_differ_by_nothing_that_shows() -> None:
    stages = (Curves((SRGB_CURVE,) * 3), random_grid((17, 17, 17)), Affine(100 * np.eye(3), np.zeros(3)))
    values = np.random.default_rng(11).random((20_000, 3))
    coarse = evaluate(stages, values.astype(np.float32))
    assert coarse.dtype == np.float32
    assert np.abs(coarse - evaluate(stages, values)).max() < 1e-3
