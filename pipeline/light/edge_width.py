"""How wide edges are: the blur of each of many edges, read across it off original pixels.

Energy of detail says how much there is to see; the width of an edge says how sharply it was drawn, on a smooth tomato
as on a linen cloth. Edges are looked for on a reduced copy, the strongest of each part of the frame, and measured where
every pixel counts. A step under a Gaussian of sigma s has its steepest slope of step / (s sqrt(2 pi)): so s is its
local contrast over its local gradient. Lens blur and JPEG are not quite Gaussian; sigma stands for all of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pipeline.light.box import Region
    from pipeline.light.smooth import Picture

Values = NDArray[np.float64]

CELLS = 30  # across the longer side of the frame; a grain of salt has a cell to itself
PER_CELL = 3
BLOCK_PX = 8  # of the reduced copy: no two edges are closer than about that
FAINTEST_STEP = 0.008  # between neighbours of the reduced copy, square root of luminance
LEAST_CONTRAST = 0.04  # of all of the edge, encoded
REACH_PX = 30  # to either side of an edge
ASIDE_PX = (-2.0, -1.0, 0.0, 1.0, 2.0)  # lines along the edge whose mean is taken: less grain
END_OF_EDGE = 0.1  # of the steepest slope
# What END_OF_EDGE cuts off of a Gaussian's step; the variance (px^2) of reading between pixels, and of the 1-2-1 that
# takes grain off a profile.
SEEN = 0.968
READING = 0.20 + 0.50


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges of a frame, an array value each: place (fractions), blur (Gaussian sigma in original pixels), contrast.

    `across_x`, `across_y` is the unit vector from the dark to the light side, y downwards.
    """

    x: Values
    y: Values
    sigma_px: Values
    contrast: Values
    across_x: Values
    across_y: Values

    def only(self, chosen: NDArray[np.bool_]) -> Edges:
        """Return some of the edges."""
        return Edges(
            self.x[chosen],
            self.y[chosen],
            self.sigma_px[chosen],
            self.contrast[chosen],
            self.across_x[chosen],
            self.across_y[chosen],
        )


def edges(planes: NDArray[Any], lightness: Picture) -> Edges:
    """Return the strongest edges of each part of a frame and how wide they are.

    `planes` are all original pixels, encoded, unsigned integers, bands x height x width. `lightness` is a reduced copy:
    square root of linear luminance, 0..1, height x width. Edges wider than about 12 px are cut to that.
    """
    rows, columns, across_x, across_y = _strongest(lightness)
    y, x = (rows + 0.5) / lightness.shape[0], (columns + 0.5) / lightness.shape[1]
    at = np.arange(-REACH_PX, REACH_PX + 1.0)
    profile = np.zeros((rows.size, at.size))
    for aside in ASIDE_PX:
        down = (y * planes.shape[1] - 0.5 + aside * across_x)[:, None] + at * across_y[:, None]
        right = (x * planes.shape[2] - 0.5 - aside * across_y)[:, None] + at * across_x[:, None]
        profile += between_pixels(planes, down, right) / len(ASIDE_PX)
    slack = math.ceil(1.5 * planes.shape[2] / lightness.shape[1]) + 1
    sigma, contrast = step_widths(profile, min(slack, REACH_PX - 2))
    found = Edges(x, y, sigma, contrast, across_x, across_y)
    return found.only(contrast > LEAST_CONTRAST)


def in_ellipse(found: Edges, region: Region) -> NDArray[np.bool_]:
    """Return which edges lie in the ellipse that touches a region's sides: dishes are round, corners show the table."""
    across = (2 * found.x - region.left - region.right) / (region.right - region.left)
    down = (2 * found.y - region.top - region.bottom) / (region.bottom - region.top)
    return np.asarray(across**2 + down**2 < 1)


def step_widths(profiles: Values, slack: int) -> tuple[Values, Values]:
    """Return sigma (px) and height of a rising step in each row of values at steps of one pixel.

    The steepest place within `slack` px of the middle is taken; the step ends where the slope has fallen to a tenth.
    """
    profiles = (profiles[:, :-2] + profiles[:, 2:]) / 4 + profiles[:, 1:-1] / 2
    slope = np.diff(profiles, axis=1)
    count, length = slope.shape
    every, place = np.arange(count), np.arange(length)
    middle = length // 2
    near = slice(max(middle - slack, 0), middle + slack)
    peak = slope[:, near].argmax(axis=1) + max(middle - slack, 0)
    steepest = slope[every, peak]
    flat = slope < END_OF_EDGE * steepest[:, None]
    end = np.where(flat & (place > peak[:, None]), place, length).min(axis=1)
    start = np.where(flat & (place < peak[:, None]), place, -1).max(axis=1)
    height = profiles[every, end] - profiles[every, start + 1]
    rising = (steepest > 0) & (height > 0)
    sigma = np.divide(height, math.sqrt(2 * math.pi) * SEEN * steepest, out=np.zeros(count), where=rising)
    return np.sqrt(np.maximum(sigma**2 - READING, 0.0)), np.where(rising, height, 0.0)


def between_pixels(planes: NDArray[Any], down: Values, right: Values) -> Values:
    """Return the mean of the bands (0..1) at places between pixels, by bilinear interpolation; beyond, the edge's."""
    bands, height, width = planes.shape
    rows, columns = np.clip(down, 0, height - 1), np.clip(right, 0, width - 1)
    top, left = rows.astype(np.intp), columns.astype(np.intp)
    low, far = rows - top, columns - left
    here = top * width + left
    beside = (left < width - 1).astype(np.intp)
    below = (top < height - 1) * width
    flat = planes.reshape(bands, -1)

    def level(place: NDArray[np.intp]) -> Values:
        total: Values = np.stack([band.take(place) for band in flat]).sum(axis=0, dtype=np.float64)
        return total

    upper = level(here)
    upper += far * (level(here + beside) - upper)
    lower = level(here + below)
    lower += far * (level(here + below + beside) - lower)
    return (upper + low * (lower - upper)) / np.float64(np.iinfo(planes.dtype).max * bands)


def gradients(values: Picture) -> tuple[Picture, Picture]:
    """Return the slopes to the right and downwards, per pixel, of values smoothed by 1-2-1; 0 along the rim."""
    right, down = np.zeros_like(values), np.zeros_like(values)
    if min(values.shape) > 4:
        low = (values[:-2] + values[2:]) / 4 + values[1:-1] / 2
        low = (low[:, :-2] + low[:, 2:]) / 4 + low[:, 1:-1] / 2
        right[2:-2, 2:-2] = (low[1:-1, 2:] - low[1:-1, :-2]) / 2
        down[2:-2, 2:-2] = (low[2:, 1:-1] - low[:-2, 1:-1]) / 2
    return right, down


def _strongest(lightness: Picture) -> tuple[NDArray[np.intp], NDArray[np.intp], Values, Values]:
    """Return rows, columns and directions of the steepest places: one a block at most, PER_CELL a cell."""
    right, down = gradients(lightness)
    steep = np.hypot(right, down)
    rows, columns = _steepest_of_blocks(steep)
    strength = steep[rows, columns]
    cell_px = max(math.ceil(max(lightness.shape) / CELLS), BLOCK_PX)
    cell = (rows // cell_px) * (lightness.shape[1] // cell_px + 1) + columns // cell_px
    order = np.lexsort((-strength, cell))
    starts = np.flatnonzero(np.diff(cell[order], prepend=-1))
    rank = np.arange(order.size) - np.repeat(starts, np.diff(starts, append=order.size))
    chosen = order[(rank < PER_CELL) & (strength[order] > FAINTEST_STEP)]
    rows, columns = rows[chosen], columns[chosen]
    return rows, columns, right[rows, columns] / strength[chosen], down[rows, columns] / strength[chosen]


def _steepest_of_blocks(steep: Picture) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    high, wide = (-(-length // BLOCK_PX) for length in steep.shape)
    padded = np.pad(steep, ((0, high * BLOCK_PX - steep.shape[0]), (0, wide * BLOCK_PX - steep.shape[1])))
    blocks = padded.reshape(high, BLOCK_PX, wide, BLOCK_PX).swapaxes(1, 2).reshape(high * wide, -1)
    best = blocks.argmax(axis=1)
    block = np.arange(high * wide)
    rows, columns = block // wide * BLOCK_PX + best // BLOCK_PX, block % wide * BLOCK_PX + best % BLOCK_PX
    inside = (rows < steep.shape[0]) & (columns < steep.shape[1])
    return rows[inside].astype(np.intp), columns[inside].astype(np.intp)
