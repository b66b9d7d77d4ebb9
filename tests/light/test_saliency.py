"""What stands out: the threshold against scikit-image, the way to the edge against Dijkstra as scipy has it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from skimage.filters import threshold_otsu

from pipeline.light.saliency import FREE_STEP, colourful, cues, parted, stretched, together, unlike_the_edge
from pipeline.light.saliency import otsu_threshold as ours

CHANCE = np.random.default_rng(11)


@pytest.mark.parametrize("seed", range(6))
def test_the_threshold_is_otsus(seed: int) -> None:
    # Source: Otsu 1979, as scikit-image has it with as many bins.
    chance = np.random.default_rng(seed)
    values = np.concatenate([chance.normal(0.2, 0.05, 500), chance.normal(0.7, 0.1, 200)])
    assert ours(values) == pytest.approx(threshold_otsu(values, nbins=64))


def test_the_way_to_the_edge_is_dijkstras() -> None:
    picture = CHANCE.random((14, 20, 3)) * 0.1
    height, width = picture.shape[:2]
    number = np.arange(height * width).reshape(height, width)
    rows, columns, steps = [], [], []
    for here, there in ((np.s_[:, :-1], np.s_[:, 1:]), (np.s_[:-1], np.s_[1:])):
        step = np.maximum(np.linalg.norm(picture[here] - picture[there], axis=2) - FREE_STEP, 0) + 1e-12
        rows.append(number[here].ravel())
        columns.append(number[there].ravel())
        steps.append(step.ravel())
    graph = csr_array(
        (np.concatenate(steps), (np.concatenate(rows), np.concatenate(columns))), shape=(height * width, height * width)
    )
    edge = np.ones((height, width), dtype=bool)
    edge[1:-1, 1:-1] = False
    theirs = dijkstra(graph, directed=False, indices=number[edge], min_only=True).reshape(height, width)
    np.testing.assert_allclose(parted(picture), stretched(theirs), atol=1e-6)


def test_a_spot_of_another_colour_stands_out_in_every_map_of_colour() -> None:
    picture = np.full((48, 64, 3), (0.6, 0.0, 0.02))
    picture[20:30, 30:40] = [0.5, 0.12, 0.1]
    for one in (parted(picture), unlike_the_edge(picture), colourful(picture)):
        assert one[25, 35] == 1.0
        assert one[5, 5] == 0.0


def test_all_maps_and_their_sum_are_finite_and_bounded_whatever_comes() -> None:
    for picture in (np.zeros((20, 30, 3)), CHANCE.random((20, 30, 3)) * 50 - 20, np.ones((96, 5, 3))):
        maps = cues(picture, np.abs(picture[..., 0]))
        assert all(np.isfinite(one).all() and one.min() >= 0 and one.max() <= 1 for one in maps)
        assert np.isfinite(together(maps)).all()
