"""The slanted edge of ISO 12233 in numpy: how sharp a picture is, measured from outside.

The edge profile (ESF) is gathered in quarter pixels along the known slant, its derivative (LSF) windowed (Hann)
and transformed; MTF50 is where the modulation has fallen to one half. The loss of the discrete derivative is
given back: D(k) = min((pi k / N) / sin(pi k / N), 10).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SIDE = 128
SLANT_DEG = 5.0
BINS_PER_PX = 4
REACH_PX = 20

# MTF50 of a Gaussian blur of sigma 1 px: exp(-2 (pi f)^2) = 1/2.
GAUSSIAN_MTF50 = math.sqrt(math.log(2) / 2) / math.pi


def _distance(side: int) -> Floats:
    """Return how far each pixel's middle is from the edge, in pixels."""
    rows, columns = np.mgrid[0:side, 0:side] - (side - 1) / 2
    slant = math.radians(SLANT_DEG)
    return np.asarray(columns * math.cos(slant) + rows * math.sin(slant), dtype=np.float64)


def blurred_edge(low: float, high: float, sigma_px: float) -> Floats:
    """Return (128, 128): `low` at the left, `high` at the right of a slanted edge under a Gaussian blur."""
    share = np.vectorize(math.erf)(_distance(SIDE) / (sigma_px * math.sqrt(2)))
    return np.asarray(low + (high - low) * (1 + share) / 2, dtype=np.float64)


def profile(picture: Floats) -> Floats:
    """Return the edge profile, four values a pixel."""
    bins = np.floor((_distance(len(picture)) + REACH_PX) * BINS_PER_PX).astype(int)
    inside = (bins >= 0) & (bins < 2 * REACH_PX * BINS_PER_PX)
    return np.asarray(np.bincount(bins[inside], picture[inside]) / np.bincount(bins[inside]), dtype=np.float64)


def mtf50(picture: Floats) -> float:
    """Return the frequency (cycles a pixel) of half modulation of a picture of linear light."""
    spread = np.diff(profile(picture))
    modulation = np.abs(np.fft.rfft(spread * np.hanning(len(spread) + 2)[1:-1]))
    angle = np.pi * np.arange(len(modulation)) / len(spread)
    given_back = np.ones_like(angle)
    given_back[1:] = np.minimum(angle[1:] / np.sin(angle[1:]), 10)
    modulation = modulation / modulation[0] * given_back
    after = int(np.argmax(modulation < 0.5))
    share = (modulation[after - 1] - 0.5) / (modulation[after - 1] - modulation[after])
    return float((after - 1 + share) * BINS_PER_PX / len(spread))
