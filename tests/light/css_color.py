"""The gamut mapping of CSS Color 4, step by step as its text has it (section 13.2.4), one colour at a time in float64.

The judge of `pipeline.light.gamut`, itself held against coloraide. OKLab's matrices are those of the specification's
sample code, by way of XYZ D65.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.light.colour_science import Floats, adaptation, colour

XYZ_TO_LMS = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
LMS_TO_OKLAB = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)
OKLAB_TO_LMS = np.linalg.inv(LMS_TO_OKLAB).T
JND, EPSILON = 0.02, 0.0001
D65 = colour.xy_to_XYZ((0.3127, 0.3290))


@cache
def _to_lms(name: str) -> Floats:
    """Return the matrix, for rows of linear RGB."""
    space = colour.RGB_COLOURSPACES[name].copy()
    space.use_derived_transformation_matrices(True)  # noqa: FBT003 (its own signature)
    to_d65 = adaptation(colour.xy_to_XYZ(space.whitepoint), D65)
    return np.asarray((XYZ_TO_LMS @ to_d65 @ space.matrix_RGB_to_XYZ).T, dtype=np.float64)


@cache
def _from_lms(name: str) -> Floats:
    return np.asarray(np.linalg.inv(_to_lms(name)), dtype=np.float64)


@dataclass(frozen=True)
class Space:
    """A space by its name in colour-science: linear RGB to OKLab and back."""

    name: str

    def oklab(self, light: Floats) -> Floats:
        """Return OKLab of linear RGB, shape (..., 3)."""
        return np.asarray(np.cbrt(light @ _to_lms(self.name)) @ LMS_TO_OKLAB.T, dtype=np.float64)

    def light(self, oklab: Floats) -> Floats:
        """Return linear RGB of OKLab."""
        return np.asarray((oklab @ OKLAB_TO_LMS) ** 3 @ _from_lms(self.name), dtype=np.float64)

    def mapped(self, light: Floats) -> Floats:
        """Return linear RGB (n, 3) inside the space, by the text's steps 1 to 14."""
        return np.array([self._mapped(one) for one in light])

    def _mapped(self, origin: Floats) -> Floats:
        lightness, a, b = self.oklab(origin)
        chroma, hue = math.hypot(a, b), math.atan2(b, a)
        if lightness >= 1:
            return np.ones(3)
        if lightness <= 0:
            return np.zeros(3)
        if self._inside(origin):
            return origin

        def at(chroma: float) -> Floats:
            return self.light(np.array([lightness, chroma * math.cos(hue), chroma * math.sin(hue)]))

        clipped = np.clip(origin, 0, 1)
        if self._difference(clipped, origin) < JND:
            return clipped
        least, most, least_inside = 0.0, chroma, True
        while most - least > EPSILON:
            chroma = (least + most) / 2
            current = at(chroma)
            if least_inside and self._inside(current):
                least = chroma
                continue
            clipped = np.clip(current, 0, 1)
            difference = self._difference(clipped, current)
            if difference < JND:
                if JND - difference < EPSILON:
                    return clipped
                least_inside, least = False, chroma
            else:
                most = chroma
        return clipped

    def _difference(self, one: Floats, other: Floats) -> float:
        return float(np.linalg.norm(self.oklab(one) - self.oklab(other)))

    @staticmethod
    def _inside(light: Floats) -> bool:
        return bool((light >= -1e-9).all() and (light <= 1 + 1e-9).all())
