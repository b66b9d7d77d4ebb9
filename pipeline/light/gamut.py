"""Colours outside an RGB space brought into it: chroma comes down, lightness and hue stay.

That is the gamut mapping of CSS Color 4: where clipping the channels would be seen, chroma comes down just so far that
clipping what remains is not. How far depends on lightness and hue alone, so it is worked out once for a space and
looked up. Source: [CSSColor] 13.2, binary search with local minimum of difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.oklab import LMS_TO_OKLAB, OKLAB_TO_LMS, lms_to_oklab, oklab_to_lms, rgb_to_lms
from pipeline.light.stages import CHUNK

if TYPE_CHECKING:
    from pipeline.light.spaces import Matrix
    from pipeline.light.stages import Planes
    from pipeline.light.transfer import Values

JND = 0.02  # the least difference in OKLab that is noticed
TINY = 1e-6  # chroma of a grey
MOST_CHROMA = 0.5  # more than any colour that can be seen
HALVINGS = 18
LIGHTNESS_STEPS, HUE_STEPS = 129, 512


@dataclass(frozen=True, slots=True, eq=False)
class ChromaLimit:
    """The most chroma that clipping hides in a space: lightness 0..1 (rows) by hue 0..360 degrees (columns)."""

    table: Values
    to_lms: Matrix

    def soften(self, light: Planes) -> Planes:
        """Return linear RGB, planes (3, count), with chroma held to the limit; what is still outside is to be clipped.

        float32 in gives float32 out, float64 likewise.
        """
        kind = light.dtype
        to_lms, to_oklab, from_oklab, from_lms = (
            matrix.astype(kind) for matrix in (self.to_lms, LMS_TO_OKLAB, OKLAB_TO_LMS, np.linalg.inv(self.to_lms))
        )
        found = np.empty_like(light)
        for start in range(0, light.shape[1], CHUNK):
            part = light[:, start : start + CHUNK]
            oklab = to_oklab @ np.cbrt(to_lms @ part)
            lightness, a, b = oklab
            chroma = np.sqrt(a * a + b * b)
            most = self.at(lightness, np.arctan2(b, a))
            outside = chroma > most + TINY
            oklab[1:] *= np.where(outside, most / np.maximum(chroma, TINY), 1)
            root = from_oklab @ oklab
            found[:, start : start + CHUNK] = np.where(outside, from_lms @ (root * root * root), part)
        return found

    def at(self, lightness: Planes, hue: Planes) -> Planes:
        """Return the limit at lightness (0 at white, at black and beyond) and hue (radians), straight between steps."""
        kind, table = lightness.dtype, self.table.astype(lightness.dtype).ravel()
        row = np.clip(lightness, 0, 1) * (LIGHTNESS_STEPS - 1)
        column = (hue / (2 * np.pi) + 1).astype(kind) % 1 * HUE_STEPS
        top, left = np.minimum(row.astype(np.int32), LIGHTNESS_STEPS - 2), column.astype(np.int32)
        down, across = row - top.astype(kind), column - left.astype(kind)
        first = top * (HUE_STEPS + 1) + np.minimum(left, HUE_STEPS - 1)
        above = table.take(first) * (1 - across) + table.take(first + 1) * across
        below = table.take(first + HUE_STEPS + 1) * (1 - across) + table.take(first + HUE_STEPS + 2) * across
        return np.where((lightness <= 0) | (lightness >= 1), 0, above * (1 - down) + below * down)


def chroma_limit(to_pcs: Matrix) -> ChromaLimit:
    """Return the limit for a space by its matrix from linear RGB to XYZ D50."""
    to_lms = rgb_to_lms(to_pcs)
    lightness = np.clip(np.linspace(0.0, 1.0, LIGHTNESS_STEPS), 1e-6, 1 - 1e-6)[:, None]
    hue = np.linspace(0.0, 2 * np.pi, HUE_STEPS + 1)[None, :]
    least = np.zeros((LIGHTNESS_STEPS, HUE_STEPS + 1))
    most = np.full_like(least, MOST_CHROMA)
    for _ in range(HALVINGS):
        chroma = (least + most) / 2
        hidden = _clipping_is_hidden(lightness, chroma, hue, to_lms)
        least, most = np.where(hidden, chroma, least), np.where(hidden, most, chroma)
    return ChromaLimit(least, to_lms)


def _clipping_is_hidden(lightness: Values, chroma: Values, hue: Values, to_lms: Matrix) -> Values:
    """Return where clipping a colour to the space differs from it by less than is noticed."""
    oklab = np.stack(np.broadcast_arrays(lightness, chroma * np.cos(hue), chroma * np.sin(hue)), axis=-1)
    light = oklab_to_lms(oklab) @ np.linalg.inv(to_lms).T
    clipped = lms_to_oklab(np.clip(light, 0.0, 1.0) @ to_lms.T)
    return np.asarray(np.linalg.norm(clipped - oklab, axis=-1) < JND)
