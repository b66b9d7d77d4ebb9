"""Dark rings beside what is much brighter: bounded, and the light that fills them taken from beside them.

A sharp kernel undershoots next to a step of light by a twentieth of the step, next to a lone glint by more. In linear
light that is much: grey beside a clipped pixel loses six 8-bit levels, and a shadow beside a window goes black. So no
pixel may be more than `DEPTH` darker than the darkest of the nine that a soft kernel (which never rings) sees around
it: what is truly dark stays dark, and an ordinary edge is not touched. In a valley (a thin dark line, brighter on both
sides even for the soft kernel) it may be darker by `VALLEY` of the valley's depth: there the sharp kernel shows what
the soft one blurs. What a pixel is given its eight neighbours give, in proportion to what they have above their own
bounds, so that the mean of light is kept. Source: [Zalesak], where a sharp solution's corrections are bounded by a
smooth one and exchanged between neighbours.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

Light = NDArray[np.float32]
Index = NDArray[np.intp]

DEPTH = np.float32(0.05)  # of the light around: under 3 levels of 8-bit sRGB at 18 % grey
VALLEY = np.float32(0.3)
REACH = 5  # how many pixels away what a pixel becomes still depends on: its neighbours' bounds, and theirs
TILE = 128, 256  # rows and columns worked out together: small enough for a core's own memory
TINY = np.float32(1e-30)


def without_dark_rings(sharp: Light, soft: Light, brightest: float | None) -> Light:
    """Return `sharp` (h, w, bands; linear light) with its dark rings bounded, held to 0..`brightest`.

    `soft` is the same light through the soft kernel, nowhere below 0.
    """
    height, width, _ = sharp.shape
    found = np.empty_like(sharp)
    for top, left in product(range(0, height, TILE[0]), range(0, width, TILE[1])):
        above, before = max(top - REACH, 0), max(left - REACH, 0)
        part = np.s_[above : top + TILE[0] + REACH, before : left + TILE[1] + REACH]
        tile = np.s_[top : top + TILE[0], left : left + TILE[1]]
        inner = _bounded(sharp[part], soft[part])[top - above :, left - before :][: TILE[0], : TILE[1]]
        np.clip(inner, 0.0, brightest, out=found[tile])
    return found


def _bounded(sharp: Light, soft: Light) -> Light:
    floor = _around(np.minimum, soft) * (1 - DEPTH)
    above = sharp - floor
    dark = np.flatnonzero(above < 0)
    if not len(dark):
        return sharp
    need = np.zeros_like(above)
    need.put(dark, np.maximum(-above.take(dark) - VALLEY * _valleys(soft, dark), 0))
    spare = np.maximum(above, 0)
    # What is asked of each neighbour, as a share of what it has to spare; nobody gives more than all.
    asked = np.divide(need, np.maximum(_around(np.add, spare), TINY), dtype=np.float32)
    asked_of = _around(np.add, asked)
    spare /= np.maximum(asked_of, 1)
    return np.asarray(sharp + asked * _around(np.add, spare) - spare * asked_of, dtype=np.float32)


def _valleys(soft: Light, at: Index) -> Light:
    """Return how deep some pixels (places in the flat array) lie below the lower of two brighter sides, 0 in the open.

    A side, across or down, is the brighter of the next two pixels: a line may lie between two.
    """
    _, width, bands = soft.shape
    padded = np.pad(soft, ((2, 2), (2, 2), (0, 0)), mode="edge").ravel()
    line = (width + 4) * bands
    row, within = np.divmod(at, width * bands)
    middle = (row + 2) * line + within + 2 * bands
    lower = [
        np.minimum(*(np.maximum(padded[middle + way], padded[middle + 2 * way]) for way in (-step, step)))
        for step in (bands, line)
    ]
    depth: Light = np.maximum(np.maximum(*lower) - padded[middle], 0)
    return depth


def _around(gather: np.ufunc, light: Light) -> Light:
    """Return the smallest, or the sum, of each pixel and its eight neighbours, as far as the picture goes."""
    rows = _beside(gather, light)
    return _beside(gather, rows.swapaxes(0, 1)).swapaxes(0, 1)


def _beside(gather: np.ufunc, light: Light) -> Light:
    """Return the same of each pixel and the next ones across."""
    if light.shape[1] == 1:
        return light
    found = np.empty_like(light)
    gather(light[:, :-2], light[:, 1:-1], out=found[:, 1:-1])
    gather(found[:, 1:-1], light[:, 2:], out=found[:, 1:-1])
    gather(light[:, 0], light[:, 1], out=found[:, 0])
    gather(light[:, -2], light[:, -1], out=found[:, -1])
    return found
