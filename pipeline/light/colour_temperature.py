"""Correlated colour temperature of a light, and its distance Duv from the Planckian locus.

The locus is Krystek's rational approximation, which saves a table of the observer (within 9e-5 in u and v from 1000 K
to 15000 K); the nearest point on it is found as Ohno does. Sources: [Krystek], [Ohno].
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pipeline.light.transfer import Values

LOWEST_K, HIGHEST_K = 1000.0, 15000.0
STEP = 1.01  # from one temperature of the table to the next
FARTHEST = 0.05  # Duv; beyond it a colour has no correlated temperature (CIE 15)
NEAR = 0.002  # Duv; closer than that the triangular solution is the better of Ohno's two


@dataclass(frozen=True, slots=True)
class Temperature:
    """Correlated colour temperature in kelvin, and Duv: above 0 greener than the locus, below it pinker."""

    kelvin: float
    duv: float


def planckian(kelvin: Values) -> Values:
    """Return u, v (CIE 1960) of black bodies, shape (..., 2)."""
    t, t2 = kelvin, kelvin * kelvin
    u = (0.860117757 + 1.54118254e-4 * t + 1.28641212e-7 * t2) / (1 + 8.42420235e-4 * t + 7.08145163e-7 * t2)
    v = (0.317398726 + 4.22806245e-5 * t + 4.20481691e-8 * t2) / (1 - 2.89741816e-5 * t + 1.61456053e-7 * t2)
    return np.stack([u, v], axis=-1)


def beside_planckian(kelvin: Values, duv: float) -> Values:
    """Return u, v of lights that lie `duv` from the locus, at right angles to it."""
    ahead = planckian(kelvin * 1.001) - planckian(kelvin / 1.001)
    ahead /= np.linalg.norm(ahead, axis=-1, keepdims=True)
    # Towards higher temperatures u falls: a quarter turn clockwise from there is towards green, which is above.
    return planckian(kelvin) + duv * np.stack([ahead[..., 1], -ahead[..., 0]], axis=-1)


def temperature(uv: Values) -> Temperature | None:
    """Return the temperature of a light by its u, v (CIE 1960); None where it has none: too far off the locus."""
    if not (np.abs(uv) <= 1).all():
        return None
    kelvins = _kelvins()
    distances = np.linalg.norm(planckian(kelvins) - uv, axis=-1)
    at = int(np.argmin(distances))
    if not 0 < at < len(kelvins) - 1 or distances[at] > FARTHEST:
        return None
    below, above = planckian(kelvins[at - 1]), planckian(kelvins[at + 1])
    along = float(np.linalg.norm(above - below))
    foot = (distances[at - 1] ** 2 - distances[at + 1] ** 2 + along**2) / (2 * along)
    kelvin = kelvins[at - 1] + (kelvins[at + 1] - kelvins[at - 1]) * foot / along
    side = 1.0 if uv[1] >= below[1] + (above[1] - below[1]) * foot / along else -1.0
    duv = float(np.sqrt(max(distances[at - 1] ** 2 - foot**2, 0.0)))
    if duv >= NEAR:
        near = kelvins[at - 1 : at + 2]
        a, b, c = np.polyfit(near - near[1], distances[at - 1 : at + 2], 2)
        kelvin, duv = near[1] - b / (2 * a), float(c - b * b / (4 * a))
    return Temperature(float(kelvin), side * duv)


@cache
def _kelvins() -> Values:
    count = int(np.log(HIGHEST_K / LOWEST_K) / np.log(STEP)) + 1
    return np.asarray(LOWEST_K * STEP ** np.arange(count), dtype=np.float64)
