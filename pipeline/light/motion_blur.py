"""Blur along a line, as a camera that shakes or a thing that moves leaves it: its length and its direction.

A picture smeared along a line of length L is the sharp one convolved with that line, so its spectrum vanishes along
equally spaced stripes, and the cepstrum (the inverse transform of the logarithm of the power spectrum) has a deep, lone
minimum at distance L in the direction of the line. Blur by a lens out of focus is round and leaves a ring instead.
Source: [Rom] blur by the cepstrum; the mean over tiles and the bounds are house choices.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

# Shorter than this, the minimum drowns in that of any picture round the origin; longer, the tile's window hides it.
SHORTEST_PX, LONGEST_SHARE = 4.5, 0.4
LEAST_SIDE_PX = 64
FLOOR = 1e-12  # power below that of a rounding error says nothing
LOWEST = 60  # values that are looked at
CLEAR = 6.0  # standard deviations: pictures that are not smeared along a line stay below, but for faint depths
OF_NORMAL = 1.4826  # standard deviation over median absolute deviation, of a normal distribution


@dataclass(frozen=True, slots=True)
class Streak:
    """The likeliest line of blur, and how sure it is.

    `angle_deg` is 0..180, from the horizontal, clockwise (y grows downwards). `depth` is the depth of the minimum;
    `prominence` how many standard deviations of the values at that distance it lies below them. Pictures that are not
    smeared along a line give a prominence of up to 4.
    """

    length_px: float
    angle_deg: float
    depth: float
    prominence: float


NO_STREAK = Streak(0.0, 0.0, 0.0, 0.0)


def streak(tiles: Sequence[Picture]) -> Streak:
    """Return the line along which tiles of a picture are smeared; NO_STREAK where they are too small or flat.

    `tiles` are linear luminance, float64, all of one size, height x width; the middle square of each is looked at.
    """
    if not tiles or min(tiles[0].shape) < LEAST_SIDE_PX:
        return NO_STREAK
    spectrum = _log_power(tiles)
    if not float(np.ptp(spectrum)) > 0.0:
        return NO_STREAK
    return _deepest(_cepstrum(spectrum))


def _log_power(tiles: Sequence[Picture]) -> Picture:
    """Return the mean logarithm of the power spectra, as side x (side / 2 + 1), frequency 0 first."""
    side = min(tiles[0].shape) // 2 * 2
    ramp = np.hanning(side + 2)[1:-1]
    window = np.outer(ramp, ramp)
    total = np.zeros((side, side // 2 + 1))
    for tile in tiles:
        top, left = (tile.shape[0] - side) // 2, (tile.shape[1] - side) // 2
        square = tile[top : top + side, left : left + side]
        level = float((square * window).sum() / window.sum())
        power = np.abs(np.fft.rfft2((square - level) * window)) ** 2
        total += np.log(power + FLOOR * side**2)
    return np.asarray(total / len(tiles), dtype=np.float64)


def _cepstrum(spectrum: Picture) -> Picture:
    """Return the cepstrum, its origin in the middle. What all directions share at a frequency is taken off before."""
    side = spectrum.shape[0]
    frequency = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None])
    ring = np.minimum((frequency * side).astype(np.intp), side // 2)
    mean = np.bincount(ring.ravel(), spectrum.ravel()) / np.maximum(np.bincount(ring.ravel()), 1)
    taper = np.where(frequency < 0.5, np.cos(np.pi * frequency) ** 2, 0.0)
    return np.asarray(np.fft.fftshift(np.fft.irfft2((spectrum - mean[ring]) * taper, (side, side))), dtype=np.float64)


def _deepest(cepstrum: Picture) -> Streak:
    """Return the deepest minimum, those that lie clearly below their ring before all others."""
    middle = cepstrum.shape[0] // 2
    reach = int(LONGEST_SHARE * cepstrum.shape[0])
    around = cepstrum[middle - reach - 2 : middle + reach + 3, middle - reach - 2 : middle + reach + 3]
    rows, columns = np.mgrid[-reach - 2 : reach + 3, -reach - 2 : reach + 3]
    away = np.hypot(rows, columns)
    half = (rows > 0) | ((rows == 0) & (columns > 0))
    allowed = half & (away >= SHORTEST_PX) & (away <= reach)
    order = np.argsort(np.where(allowed, around, np.inf), axis=None)[:LOWEST]
    ring = np.rint(away).astype(np.intp)
    prominence = [_prominence(around.ravel()[one], around[ring == ring.ravel()[one]]) for one in order]
    first = next((at for at, value in enumerate(prominence) if value >= CLEAR), 0)
    row, column = (int(at) for at in np.unravel_index(int(order[first]), away.shape))
    down = float(rows[row, column]) + _between(around[row - 1 : row + 2, column])
    across = float(columns[row, column]) + _between(around[row, column - 1 : column + 2])
    angle = float(np.degrees(np.arctan2(down, across))) % 180.0
    depth = max(-float(around[row, column]), 0.0)
    return Streak(float(np.hypot(down, across)), angle, depth, max(prominence[first], 0.0))


def _prominence(value: float, ring: NDArray[np.float64]) -> float:
    """Return by how many standard deviations a value lies below the median of its ring."""
    middle = float(np.median(ring))
    spread = OF_NORMAL * float(np.median(np.abs(ring - middle)))
    return (middle - float(value)) / spread if spread > 0.0 else 0.0


def _between(three: NDArray[np.float64]) -> float:
    """Return how far from the middle of three values the parabola through them has its extreme, at most half a step."""
    bend = three[0] - 2 * three[1] + three[2]
    return float(np.clip((three[0] - three[2]) / (2 * bend), -0.5, 0.5)) if bend > 0.0 else 0.0
