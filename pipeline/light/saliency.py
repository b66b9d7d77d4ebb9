"""What stands out in a picture: four maps of classical cues, each 0..1, and their weighted sum.

No cue is trusted alone: a bowl on a board is parted from the edge of the frame by its outline (`parted`), is of another
colour than what lies along the edges (`unlike_the_edge`), more colourful than the table (`colourful`), and in focus
(`in_focus`). The weights and scales are house choices, set on the sample shoot and pictures whose subject is known
(`tests/frames/inspection/test_subject.py`). Pictures are OKLab, float64, height x width x 3.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.smooth import by_area, gaussian

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

# Colour says more about food than lightness does: shadows part nothing.
BANDS = np.array([1.0, 2.2, 2.2])
EDGE_SHARE = 0.03  # of the shorter side
FREE_STEP = 0.012  # a difference between neighbours that is texture, not outline
SPREAD = 0.03  # the least standard deviation of an edge's colours
FAR_ENOUGH = 8.0  # standard deviations; more makes no difference
CENTRE_SIGMA, CENTRE_WEIGHT = 0.38, 0.65
WEIGHTS = (1.0, 1.0, 0.8, 0.7)
PATH = 300  # steps; no way across a map of 96 pixels has more bends


def cues(oklab: Picture, focus: Picture) -> tuple[Picture, ...]:
    """Return the four maps. `focus` is the energy of fine detail at the same size."""
    weighted = oklab * BANDS
    smooth = gaussian(weighted, 0.8)
    focused = stretched(np.sqrt(gaussian(focus, 2.0)))
    return parted(smooth), unlike_the_edge(smooth), colourful(weighted), focused


def together(maps: Sequence[Picture], without: int | None = None) -> Picture:
    """Return how much each pixel stands out, 0 and more: the weighted sum of the maps. `without` leaves one out."""
    chosen = [weight * one for index, (weight, one) in enumerate(zip(WEIGHTS, maps, strict=True)) if index != without]
    return np.asarray(np.sum(chosen, axis=0), dtype=np.float64)


def towards_the_middle(stands_out: Picture) -> Picture:
    """Return a map smoothed, and more in the middle of the frame, where a photographer puts what matters."""
    height, width = stands_out.shape
    return np.asarray(
        gaussian(stands_out, 1.0) * (1 - CENTRE_WEIGHT + CENTRE_WEIGHT * _middle(height, width)), dtype=np.float64
    )


def parted(oklab: Picture) -> Picture:
    """Return how much of an outline parts each pixel from the frame's edge: the least sum of steps on any way there."""
    distance = np.where(_edge(oklab.shape[:2]), 0.0, np.inf)
    across = np.maximum(np.linalg.norm(np.diff(oklab, axis=1), axis=2) - FREE_STEP, 0.0)
    down = np.maximum(np.linalg.norm(np.diff(oklab, axis=0), axis=2) - FREE_STEP, 0.0)
    for _ in range(PATH):
        before = distance.copy()
        np.minimum(distance[:, 1:], distance[:, :-1] + across, out=distance[:, 1:])
        np.minimum(distance[:, :-1], distance[:, 1:] + across, out=distance[:, :-1])
        np.minimum(distance[1:], distance[:-1] + down, out=distance[1:])
        np.minimum(distance[:-1], distance[1:] + down, out=distance[:-1])
        if np.array_equal(before, distance):
            break
    return stretched(distance)


def unlike_the_edge(oklab: Picture) -> Picture:
    """Return how far each pixel's colour is from the colours along the four edges, in their own spread.

    The edge that is least like a pixel is left out: a dish may touch it.
    """
    strip = _strip(oklab.shape[:2])
    edges = (oklab[:strip], oklab[-strip:], oklab[:, :strip], oklab[:, -strip:])
    distances = []
    for edge in edges:
        colours = edge.reshape(-1, 3)
        covariance = np.cov(colours.T) + np.eye(3) * SPREAD**2
        apart = oklab - np.median(colours, axis=0)
        distances.append(np.sqrt(np.einsum("hwi,ij,hwj->hw", apart, np.linalg.inv(covariance), apart)))
    nearest = np.sort(np.stack(distances), axis=0)[:3].mean(axis=0)
    return stretched(np.minimum(nearest, FAR_ENOUGH))


def colourful(oklab: Picture) -> Picture:
    """Return how much more chroma each pixel has than half of the picture."""
    return stretched(np.linalg.norm(oklab[..., 1:], axis=2))


def focus_energy(lightness: Picture, long_side: int) -> Picture:
    """Return the energy of fine detail of a lightness map, reduced to `long_side`."""
    return by_area(np.abs(lightness - gaussian(lightness, 1.2)), long_side)


def stretched(values: Picture) -> Picture:
    """Return values brought to 0..1 between their 2nd and 99th percentile; all 0 where they hardly differ."""
    low, high = np.percentile(values, (2, 99))
    return np.asarray(np.clip((values - low) / max(high - low, 1e-9), 0.0, 1.0))


def otsu_threshold(values: Picture) -> float:
    """Return the threshold that parts values into two classes with the largest variance between them.

    Source: Otsu, IEEE Transactions on Systems, Man, and Cybernetics 9(1), 62-66, 1979.
    """
    counts, edges = np.histogram(values, 64)
    centres = (edges[1:] + edges[:-1]) / 2
    below = np.cumsum(counts)[:-1].astype(np.float64)
    above = values.size - below
    sums = np.cumsum(counts * centres)
    means = sums[:-1] / np.maximum(below, 1), (sums[-1] - sums[:-1]) / np.maximum(above, 1)
    return float(centres[int((below * above * (means[0] - means[1]) ** 2).argmax())])


def _strip(shape: tuple[int, ...]) -> int:
    return max(1, round(EDGE_SHARE * min(shape)))


def _edge(shape: tuple[int, ...]) -> NDArray[np.bool_]:
    strip = _strip(shape)
    edge = np.ones(shape, dtype=np.bool_)
    edge[strip:-strip, strip:-strip] = False
    return edge


def _middle(height: int, width: int) -> Picture:
    down, across = np.mgrid[:height, :width]
    away = ((across / width - 0.5) ** 2 + (down / height - 0.5) ** 2) / CENTRE_SIGMA**2
    return np.asarray(np.exp(-0.5 * away), dtype=np.float64)
