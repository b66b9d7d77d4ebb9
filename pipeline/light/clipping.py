"""Where a frame's codes have run out: highlights that are full, shadows that are empty.

Codes are whole numbers, one plane for each channel (channels x height x width), 0 to `top`; more is more light (the
codes of inks are turned over first). Counting is exact: a code is full at `top` itself and empty at 0. What the eye
misses is told by pixels that are full or nearly so in channels that carry most of the luminance: a tomato's red may be
full and its shading still there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Region
from pipeline.light.islands import labelled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture

    Codes = NDArray[np.uint8] | NDArray[np.uint16]
    Mask = NDArray[np.bool_]

NEARLY = 0.02  # of the range: a coder's ripple about a clipped code
MOST_LUMINANCE = 0.5
CELLS = 120  # along the longer side, of the map that patches are looked for in
CELL_IS_HIT = 0.25


@dataclass(frozen=True, slots=True)
class Shares:
    """Shares of all pixels (0..1) whose code is at the end: channel by channel, and in all channels at once."""

    channels: tuple[float, ...]
    every: float


@dataclass(frozen=True, slots=True)
class Patch:
    """A connected part of a mask: the box round it, and its share of the frame (0..1)."""

    region: Region
    share: float


def shares_at(codes: Codes, code: int) -> Shares:
    """Return the shares of pixels at just one code."""
    hits = [plane == code for plane in codes]
    every = _all(hits)
    count = max(every.size, 1)
    return Shares(tuple(int(np.count_nonzero(one)) / count for one in hits), int(np.count_nonzero(every)) / count)


def without_shading(codes: Codes, top: int, luminance: Sequence[float], needed: float = MOST_LUMINANCE) -> Mask:
    """Return where channels that are (nearly) full carry `needed` of the luminance, of which `luminance` has the parts.

    The parts add up to 1, one for each channel.
    """
    least = round(top * (1 - NEARLY))
    full = [plane >= least for plane in codes]
    lost = np.zeros(codes.shape[1:], dtype=np.bool_)
    for subset in range(1, 1 << len(full)):
        chosen = [band for band in range(len(full)) if subset >> band & 1]
        enough = sum(luminance[band] for band in chosen) >= needed - 1e-9
        fewer = any(sum(luminance[band] for band in chosen if band != one) >= needed - 1e-9 for one in chosen)
        if enough and not fewer:
            lost |= _all([full[band] for band in chosen])
    return lost


def nearly_empty(codes: Codes, top: int) -> Mask:
    """Return where all channels are (nearly) empty."""
    most = round(top * NEARLY)
    return _all([plane <= most for plane in codes])


def cell_shares(mask: Mask) -> Picture:
    """Return a map of square cells, 120 to 239 along the longer side: the share of each that a mask covers.

    A frame of less than 120 px is its own map. The last cells of a row or column may reach beyond the frame.
    """
    height, width = mask.shape
    side = max(max(height, width) // CELLS, 1)
    down, across = -(-height // side), -(-width // side)
    rows, columns = np.divmod(np.flatnonzero(mask), width)
    counts = np.bincount(rows // side * across + columns // side, minlength=down * across)
    return np.asarray(counts.reshape(down, across) / side**2, dtype=np.float64)


def patches(cells: Picture, least: float) -> tuple[Patch, ...]:
    """Return the connected parts that make up at least the share `least` of the frame, the largest first."""
    labels = labelled(cells >= CELL_IS_HIT)
    sums = np.bincount(labels.ravel(), weights=cells.ravel()) / cells.size
    sums[0] = 0.0
    found = [int(label) for label in np.nonzero(sums >= max(least, 1e-12))[0]]
    return tuple(
        sorted((Patch(_box(labels == label), float(sums[label])) for label in found), key=lambda patch: -patch.share)
    )


def islands(cells: Picture) -> int:
    """Return how many connected parts a map has, however small."""
    return len(np.unique(labelled(cells > 0))) - int(bool((cells <= 0).any()))


def share_within(cells: Picture, region: Region) -> float:
    """Return how much of a region a map covers, 0..1."""
    height, width = cells.shape
    top, bottom = int(region.top * height), max(int(np.ceil(region.bottom * height)), int(region.top * height) + 1)
    left, right = int(region.left * width), max(int(np.ceil(region.right * width)), int(region.left * width) + 1)
    part = cells[top:bottom, left:right]
    return float(part.mean()) if part.size else 0.0


def _all(masks: Sequence[Mask]) -> Mask:
    found = masks[0]
    for one in masks[1:]:
        found = found & one
    return found


def _box(mask: Mask) -> Region:
    height, width = mask.shape
    rows, columns = np.nonzero(mask.any(axis=1))[0], np.nonzero(mask.any(axis=0))[0]
    return Region(
        float(columns[0]) / width, float(rows[0]) / height, float(columns[-1] + 1) / width, float(rows[-1] + 1) / height
    )
