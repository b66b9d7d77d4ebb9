"""A smeared thing amid sharp ones: what moved while the shutter was open.

Blur by focus grows step by step with distance, so a wide edge with sharp detail close by on both of its sides was not
drawn by the lens alone: something moved there (or stands far in front of all the rest). Edges are looked for in colour
without lightness, since soft shadows and reflections make wide edges too, but hardly change hue and chroma.
All numbers are house choices, set on the sample shoot, on smeared composites and on sharp photographs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Region
from pipeline.light.edge_width import step_widths
from pipeline.light.islands import labelled
from pipeline.light.oklab import lms_to_oklab, rgb_to_lms
from pipeline.light.smooth import by_blocks, gaussian
from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.edge_width import Edges, Values
    from pipeline.light.smooth import Picture

# Blurs and distances are shares of the frame's longer side, but for those in pixels of the map: the reduced copy,
# reduced once more, by a whole number, to about this longer side.
MAP_SIDE = 500
MARGIN = 0.05  # round the region: what lies beside it counts as its surroundings
FINE_PX, COARSE_PX = 1.0, 3.0
LIKELY_PX = 1.2  # blur at the scale of the map from which an edge is looked at
FAINTEST_SLOPE = 0.004  # of chroma, a pixel of the map, after COARSE_PX
LEAST_CHROMA = 0.05  # step across the edge, OKLab
OF_LIGHTNESS = 0.5  # a step in chroma is at least so much of that in lightness
REACH_PX, AWAY_PX = 40, (7, 11)  # of the profile; where the colours of the two sides are taken, to either side
BLOWN = 0.98  # linear; an edge against a burnt-out part changes colour where the light fades, not where a thing ends
LEAST_SIGMA, LEAST_SIGMA_PX = 0.0025, 3.0
NEAR = 0.06
TIMES_WIDER = 3.0
FEWEST_SHARP = 3
MOST_EDGES = 1500
CELL = 1 / 300
FEWEST_IN_RUN = 8


@dataclass(frozen=True, slots=True)
class Smear:
    """A connected run of wide edges.

    `extent` is its length and `sigma` the blur (Gaussian) across its edges, both as shares of the frame's longer side;
    `across_deg` is the direction of that blur, 0..180 from the horizontal, clockwise. `one_way` is 0..1: 1 where all
    edges are blurred in that one direction, as by motion; near 0 where all around is, as in front of the focus.
    `amid_sharp` is the share of its edges that have sharp detail on both sides.
    """

    where: Region
    extent: float
    sigma: float
    across_deg: float
    one_way: float
    amid_sharp: float


@dataclass(frozen=True, slots=True, eq=False)
class _ColourEdges:
    """Places and blur in pixels of the reduced copy, and unit vectors across."""

    x: Values
    y: Values
    across_x: Values
    across_y: Values
    sigma: Values

    def only(self, chosen: NDArray[np.bool_] | slice) -> _ColourEdges:
        """Return some of them."""
        return _ColourEdges(
            self.x[chosen], self.y[chosen], self.across_x[chosen], self.across_y[chosen], self.sigma[chosen]
        )


def smears(light: Picture, region: Region, sharp: Edges, long_side_px: int) -> tuple[Smear, ...]:
    """Return the runs of wide edges in a region of a frame, the longest first.

    `light` is linear sRGB, float64, height x width x 3, of all of the frame; `sharp` are edges measured on the original
    pixels, `long_side_px` of them along the longer side.
    """
    height, width = light.shape[:2]
    long = max(height, width)
    left, right = region.left * width, region.right * width
    top, bottom = region.top * height, region.bottom * height
    corner = max(int(left - MARGIN * long), 0), max(int(top - MARGIN * long), 0)
    part = light[corner[1] : math.ceil(bottom + MARGIN * long), corner[0] : math.ceil(right + MARGIN * long)]
    found = _colour_edges(part, max(round(long / MAP_SIDE), 1), corner)
    inside = (found.x >= left) & (found.x <= right) & (found.y >= top) & (found.y <= bottom)
    wide = found.only(inside & (found.sigma >= max(LEAST_SIGMA, LEAST_SIGMA_PX / long_side_px) * long))
    others = np.stack([sharp.x * width, sharp.y * height, sharp.sigma_px * (long / long_side_px)])
    runs = _runs(wide, _amid_sharp(wide, others, NEAR * long), (height, width))
    return tuple(sorted(runs, key=lambda run: -run.extent))


def _colour_edges(light: Picture, reduction: int, corner: tuple[int, int]) -> _ColourEdges:
    """Return the wide edges in colour of a part of a frame whose corner is there (right, down)."""
    small = by_blocks(light, max(max(light.shape[:2]) // reduction, 1))
    rows, columns, across_x, across_y = _wide_ridges(_oklab(small)[..., 1:])
    thinned = slice(None, None, -(-max(rows.size, 1) // MOST_EDGES))
    rows, columns, across_x, across_y = rows[thinned], columns[thinned], across_x[thinned], across_y[thinned]
    at = np.arange(-REACH_PX, REACH_PX + 1.0)
    x, y = (np.asarray((place + 0.5) * reduction, dtype=np.float64) for place in (columns, rows))
    right, down = (x - 0.5)[:, None] + at * across_x[:, None], (y - 0.5)[:, None] + at * across_y[:, None]
    lights = _between(light, down, right)
    blown = lights.max(axis=(1, 2), initial=0.0) >= BLOWN
    colours = _oklab(lights)
    near, far = AWAY_PX
    step = colours[:, REACH_PX + near : REACH_PX + far].mean(axis=1)
    step = step - colours[:, REACH_PX - far + 1 : REACH_PX - near + 1].mean(axis=1)
    chroma = np.concatenate([np.zeros_like(step[:, :1]), step[:, 1:]], axis=1)
    chroma = chroma / np.maximum(np.linalg.norm(chroma, axis=1), 1e-9)[:, None]
    sigma, contrast = step_widths(np.einsum("nkc,nc->nk", colours, chroma), 4)
    sound = ~blown & (sigma > 0) & (contrast > LEAST_CHROMA) & (contrast > OF_LIGHTNESS * np.abs(step[:, 0]))
    return _ColourEdges(x + corner[0], y + corner[1], across_x, across_y, sigma).only(sound)


def _oklab(light: Picture) -> Picture:
    return lms_to_oklab(light @ rgb_to_lms(rgb_to_pcs(SRGB)).T)


def _wide_ridges(chroma: Picture) -> tuple[NDArray[np.intp], NDArray[np.intp], Values, Values]:
    """Return rows, columns and unit vectors across, where colour changes most steeply but as steeply when smoothed.

    An edge of blur s falls to sqrt((s^2 + FINE^2) / (s^2 + COARSE^2)) of its slope from one smoothing to the other.
    """
    if min(chroma.shape[:2]) < 2 * math.ceil(3 * COARSE_PX):
        nothing = np.zeros(0)
        return nothing.astype(np.intp), nothing.astype(np.intp), nothing, nothing
    down, right = _slopes(gaussian(chroma, COARSE_PX))
    same = (right * down).sum(axis=2)
    turn = 0.5 * np.arctan2(2 * same, (right**2).sum(axis=2) - (down**2).sum(axis=2))
    across_x, across_y = np.cos(turn), np.sin(turn)

    def slope(down: Picture, right: Picture) -> Picture:
        return np.asarray(np.linalg.norm(right * across_x[..., None] + down * across_y[..., None], axis=2))

    steep = slope(down, right)
    least = (LIKELY_PX**2 + FINE_PX**2) / (LIKELY_PX**2 + COARSE_PX**2)
    fine_down, fine_right = _slopes(gaussian(chroma, FINE_PX))
    candidate = (steep > FAINTEST_SLOPE) & (steep**2 > least * slope(fine_down, fine_right) ** 2)
    rim = math.ceil(COARSE_PX)
    candidate[:rim] = candidate[-rim:] = candidate[:, :rim] = candidate[:, -rim:] = False
    rows, columns = np.nonzero(candidate)
    u, v, value = across_x[candidate], across_y[candidate], steep[candidate]
    ahead = steep[np.rint(rows + v).astype(np.intp), np.rint(columns + u).astype(np.intp)]
    behind = steep[np.rint(rows - v).astype(np.intp), np.rint(columns - u).astype(np.intp)]
    top = (value >= ahead) & (value >= behind)
    return rows[top], columns[top], u[top], v[top]


def _slopes(values: Picture) -> tuple[Picture, Picture]:
    down, right = np.gradient(values, axis=(0, 1))
    return np.asarray(down, dtype=np.float64), np.asarray(right, dtype=np.float64)


def _between(light: Picture, down: Values, right: Values) -> Picture:
    """Return colours at places between pixels, by bilinear interpolation; beyond the rim, the rim's."""
    height, width = light.shape[:2]
    rows, columns = np.clip(down, 0, height - 1), np.clip(right, 0, width - 1)
    top, left = rows.astype(np.intp), columns.astype(np.intp)
    below, beside = np.minimum(top + 1, height - 1), np.minimum(left + 1, width - 1)
    low, far = (rows - top)[..., None], (columns - left)[..., None]
    upper = light[top, left] * (1 - far) + light[top, beside] * far
    lower = light[below, left] * (1 - far) + light[below, beside] * far
    return np.asarray(upper * (1 - low) + lower * low)


def _amid_sharp(wide: _ColourEdges, others: Picture, near: float) -> NDArray[np.bool_]:
    """Return for each wide edge whether a fifth of what is near on either side is drawn so much more sharply."""
    right, down = others[0] - wide.x[:, None], others[1] - wide.y[:, None]
    ahead = right * wide.across_x[:, None] + down * wide.across_y[:, None]
    along = np.abs(down * wide.across_x[:, None] - right * wide.across_y[:, None])
    beside = (np.hypot(ahead, along) < near) & (along < np.abs(ahead))
    beside &= np.abs(ahead) > 2 * wide.sigma[:, None]
    sharp = beside & (others[2] <= wide.sigma[:, None] / TIMES_WIDER)
    amid = np.ones(wide.x.size, dtype=np.bool_)
    for side in (ahead > 0, ahead < 0):
        enough = np.maximum(FEWEST_SHARP, (beside & side).sum(axis=1) / 5)
        amid &= (sharp & side).sum(axis=1) >= enough
    return amid


def _runs(found: _ColourEdges, amid: NDArray[np.bool_], size: tuple[int, int]) -> list[Smear]:
    """Return the connected runs of edges."""
    cell = CELL * max(size)
    mask = np.zeros((math.ceil(size[0] / cell) + 2, math.ceil(size[1] / cell) + 2), dtype=np.bool_)
    rows, columns = (found.y / cell).astype(np.intp) + 1, (found.x / cell).astype(np.intp) + 1
    mask[rows, columns] = True
    grown = mask.copy()
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            grown |= np.roll(mask, (down, right), (0, 1))
    numbers = labelled(grown)[rows, columns]
    counts = np.bincount(numbers)
    return [
        _run(found.only(numbers == number), float(amid[numbers == number].mean()), size)
        for number in np.flatnonzero(counts >= FEWEST_IN_RUN)
    ]


def _run(found: _ColourEdges, amid: float, size: tuple[int, int]) -> Smear:
    height, width = size
    left, right = float(found.x.min()), float(found.x.max())
    top, bottom = float(found.y.min()), float(found.y.max())
    double = (found.across_x + 1j * found.across_y) ** 2
    mean = complex((double * found.sigma**2).sum() / (found.sigma**2).sum())
    return Smear(
        Region(
            max(left - 1, 0.0) / width,
            max(top - 1, 0.0) / height,
            min(right + 1, width) / width,
            min(bottom + 1, height) / height,
        ),
        extent=math.hypot(right - left, bottom - top) / max(size),
        sigma=float(np.median(found.sigma)) / max(size),
        across_deg=math.degrees(np.angle(mean)) / 2 % 180.0,
        one_way=min(abs(mean), 1.0),
        amid_sharp=amid,
    )
