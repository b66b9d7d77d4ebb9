"""Where the subject is: a point and a box to keep, from what stands out, and how far that can be trusted."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.values import Proposal
from pipeline.light.box import Point, Region
from pipeline.light.islands import heaviest
from pipeline.light.oklab import lms_to_oklab, rgb_to_lms
from pipeline.light.overlap import overlap
from pipeline.light.saliency import WEIGHTS, cues, focus_energy, otsu_threshold, together, towards_the_middle
from pipeline.light.smooth import by_area
from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

MAP_SIDE, FOCUS_SIDE = 96, 480
OUTLIERS = 0.01  # of what stands out, on each side of the box
SHARE_DECIMALS = 3
# In standard deviations of the map. Bricks, grass and noise rise by 1.05 to 1.4, subjects by 1.5 and more.
RISE_OF_TEXTURE, RISE_OF_SUBJECTS = 1.2, 1.5
FLAT = 0.01  # a map that spreads less holds nothing but the rounding of its averages


def find_subject(light: Picture) -> Proposal:
    """Return where the subject of a picture is.

    `light` is linear sRGB, float64, height x width x 3, its longer side at least 96 px; out-of-gamut values may
    lie outside 0..1.
    """
    oklab = lms_to_oklab(by_area(light, FOCUS_SIDE) @ rgb_to_lms(rgb_to_pcs(SRGB)).T)
    maps = cues(by_area(oklab, MAP_SIDE), focus_energy(oklab[..., 0], MAP_SIDE))
    everything = together(maps)
    island = _island(towards_the_middle(everything))
    keep = _box(island)
    others = [_box(_island(towards_the_middle(together(maps, without)))) for without in range(len(WEIGHTS))]
    steady = sum(overlap(keep, other) for other in others) / len(others)
    across, down = island.sum(axis=0), island.sum(axis=1)
    return Proposal(Point(_middle(across), _middle(down)), keep, _share(steady * _risen(everything, island > 0)))


def _island(stands_out: Picture) -> Picture:
    """Return the weights of the part that stands out most, 0 outside of it; the same everywhere where nothing does."""
    island = heaviest(stands_out > otsu_threshold(stands_out), stands_out)
    return np.where(island, stands_out, 0.0) if island.any() else np.ones_like(stands_out)


def _risen(stands_out: Picture, island: NDArray[np.bool_]) -> float:
    """Return 0..1: whether the part rises above the rest as a subject does, or as a patch of a texture would."""
    spread = float(stands_out.std())
    if spread <= FLAT or island.all():
        return 0.0
    rise = (float(stands_out[island].mean()) - float(stands_out[~island].mean())) / spread
    return min(max((rise - RISE_OF_TEXTURE) / (RISE_OF_SUBJECTS - RISE_OF_TEXTURE), 0.0), 1.0)


def _box(island: Picture) -> Region:
    (left, right), (top, bottom) = _span(island.sum(axis=0)), _span(island.sum(axis=1))
    return Region(left, top, right, bottom)


def _span(weights: Picture) -> tuple[float, float]:
    """Return where a row of weights begins and ends, but for the outliers, as fractions."""
    grown = np.cumsum(weights) / weights.sum()
    first, last = np.searchsorted(grown, (OUTLIERS, 1 - OUTLIERS))
    return _share(first / weights.size), _share(min(last + 1, weights.size) / weights.size)


def _middle(weights: Picture) -> float:
    return _share(float(weights @ (np.arange(weights.size) + 0.5)) / weights.size / float(weights.sum()))


def _share(value: float) -> float:
    return round(float(value), SHARE_DECIMALS)
