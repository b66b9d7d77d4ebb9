"""Transfer curves between encoded values and linear light, both 0..1.

A `Parametric` curve is the ICC parametric curve of type 3 (ICC.1:2022, 10.18): it covers the sRGB curve,
plain gamma and the ROMM curve, so one inverse serves them all. Direction is in the name: `to_linear` is the
curve as profiles store it, `to_encoded` its inverse. Sources: [IEC61966], [AdobeRGB], [ISO22028], [ICC1].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Parametric:
    """linear = (a * e + b) ** gamma + offset for e >= d, else c * e + f, held to 0..1 (e encoded, 0..1)."""

    gamma: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    offset: float = 0.0
    f: float = 0.0

    def to_linear(self, encoded: Values) -> Values:
        """Return linear light (0..1) of encoded values (0..1)."""
        base = np.maximum(self.a * encoded + self.b, 0.0)
        with np.errstate(over="ignore"):  # a hostile profile's curve may leave the range of numbers; it is held to 1
            curved = base**self.gamma + self.offset
        return np.clip(np.where(encoded >= self.d, curved, self.c * encoded + self.f), 0.0, 1.0)

    def to_encoded(self, linear: Values) -> Values:
        """Return encoded values (0..1) of linear light (0..1); light below 0 is taken as 0."""
        light = np.maximum(linear, 0.0)
        knee = max(self.a * self.d + self.b, 0.0) ** self.gamma + self.offset
        curved = (np.maximum(light - self.offset, 0.0) ** (1.0 / self.gamma) - self.b) / self.a
        straight = (light - self.f) / self.c if self.c else np.zeros_like(light)
        return np.where(light >= knee, curved, straight)


@dataclass(frozen=True, slots=True)
class Sampled:
    """A curve by its linear values at equal steps of the encoded value (ICC `curv` with a table)."""

    samples: tuple[float, ...]

    def to_linear(self, encoded: Values) -> Values:
        """Return linear light by linear interpolation, as ICC.1 10.6 asks."""
        return np.asarray(
            np.interp(encoded, np.linspace(0.0, 1.0, len(self.samples)), np.array(self.samples)), dtype=np.float64
        )

    def to_encoded(self, linear: Values) -> Values:
        """Return the encoded value (0..1) that gives each linear one; where the curve is level, the first that does.

        A curve that falls is taken to stay level there; light outside its range is held to it.
        """
        rising = np.maximum.accumulate(np.array(self.samples))
        return np.asarray(np.interp(linear, rising, np.linspace(0.0, 1.0, len(rising))), dtype=np.float64)


Curve = Parametric | Sampled

# IEC 61966-2-1: 0.04045 is the encoded threshold, 12.92 the slope below it.
SRGB_CURVE = Parametric(gamma=2.4, a=1 / 1.055, b=0.055 / 1.055, c=1 / 12.92, d=0.04045)
# Adobe RGB (1998), 4.3.1.2: 2 51/256.
ADOBE_CURVE = Parametric(gamma=563 / 256)
# ISO 22028-2: linear below E_t = 1/512 of light, which is 16/512 encoded.
ROMM_CURVE = Parametric(gamma=1.8, c=1 / 16, d=16 / 512)
