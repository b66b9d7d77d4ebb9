"""How much ink a picture lays on paper, all inks together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

FULL = 255


@dataclass(frozen=True, slots=True)
class Ink:
    """Total ink in per cent of one ink's full coverage (0..400): at the heaviest pixel, and at all but 1 in 1000.

    `over` is the share (0..1) of pixels above the limit, None where there is none.
    """

    most: float
    nearly_most: float
    over: float | None


def total_ink(finished: Any, limit: float | None) -> Ink:  # noqa: ANN401 (libvips images have no types to name)
    """Return the ink of finished CMYK pixels (uchar, four bands, 255 is full ink)."""
    total = sum(finished[band].cast("ushort") for band in range(finished.bands))
    counts = np.frombuffer(total.cast("ushort").hist_find().write_to_memory(), dtype=np.uint32)
    levels = np.arange(len(counts)) * (100 / FULL)
    below = np.cumsum(counts) / counts.sum()
    nearly = levels[np.searchsorted(below, 0.999)]
    over = None if limit is None else float(counts[levels > limit].sum() / counts.sum())
    return Ink(float(levels[counts > 0][-1]), float(nearly), over)
