"""Grain: the standard deviation of what differs from pixel to pixel where nothing else does.

The difference operator is blind to everything that is locally a plane [Immerkaer]. Even so texture passes it, so it is
asked only where tiles are flattest, and how flat a tile is is told from means of blocks, in which noise is nearly gone:
so flat tiles are not chosen for being quiet. Noise that is alike in neighbours (a strong JPEG's, an enlarged frame's)
is seen in part only.

Tiles are float64, count x height x width x bands, sides at least 8 px.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture
    from pipeline.light.transfer import Values

BLOCK = 8
OPERATOR_GAIN = 6.0  # root of the sum of squares of [1, -2, 1] x [1, -2, 1]
MEAN_TO_SIGMA = np.sqrt(np.pi / 2)  # of the absolute value of a normal variable
FLATTEST, FEWEST = 0.1, 8  # share of the tiles that is asked, and how many at the least
UNEVEN = 0.5  # of sigma: block means of flat tiles with noise alone differ by a ninth


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard deviation in the tiles' own units, the same for all bands together; `flat` is False on texture."""

    sigma: float
    flat: bool


def noise(tiles: Picture) -> Noise:
    """Return the noise of the flattest of many tiles; none where there is no tile."""
    if not len(tiles):
        return Noise(0.0, flat=False)
    chosen = flattest(tiles)
    sigma = float(np.median(noise_sigmas(chosen)))
    return Noise(sigma, flat=float(np.median(unevenness(chosen))) <= UNEVEN * sigma)


def flattest(tiles: Picture) -> Picture:
    """Return the tenth of the tiles, at least eight, whose block means differ least, the flattest first."""
    count = max(round(len(tiles) * FLATTEST), FEWEST)
    return tiles[np.argsort(unevenness(tiles), kind="stable")[:count]]


def noise_sigmas(tiles: Picture) -> Values:
    """Return sigma of each tile, root mean square over its bands."""
    across = tiles[:, :, :-2] - 2 * tiles[:, :, 1:-1] + tiles[:, :, 2:]
    both = across[:, :-2] - 2 * across[:, 1:-1] + across[:, 2:]
    sigmas = np.abs(both).mean(axis=(1, 2)) * (MEAN_TO_SIGMA / OPERATOR_GAIN)
    return _over_bands(sigmas)


def unevenness(tiles: Picture) -> Values:
    """Return how far the means of blocks of 8 x 8 of each tile are from a plane: their standard deviation, likewise.

    A plane is light that falls off; the operator does not see it either.
    """
    count, height, width, bands = tiles.shape
    down, across = height // BLOCK, width // BLOCK
    blocks = tiles[:, : down * BLOCK, : across * BLOCK].reshape(count, down, BLOCK, across, BLOCK, bands)
    means = blocks.mean(axis=(2, 4))
    for axis, steps in ((1, down), (2, across)):
        along = (np.arange(steps) - (steps - 1) / 2).reshape([-1 if one == axis else 1 for one in range(4)])
        norm = float((along * along).sum()) * means.shape[3 - axis]
        if norm > 0:
            means = means - along * ((means * along).sum(axis=(1, 2), keepdims=True) / norm)
    return _over_bands(means.std(axis=(1, 2)))


def _over_bands(values: Values) -> Values:
    return np.asarray(np.sqrt((values * values).mean(axis=-1)), dtype=np.float64)
