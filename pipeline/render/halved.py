"""A frame at half its size: what small previews for the contact sheet are made from, so that many of them cost little.

Each half pixel is a weighed sum of six by six. The weights are those of six taps whose response is flat at the broadest
lines and flat at nought for the finest, which could come back as broad ones: 0.95 at 0.13 and 0.025 at 0.43 cycles a
pixel. Rims are repeated. Places are carried over exactly: nothing is shifted by rounding. The compiled sweep halves a
frame line by line (`native/halve.h`); nothing of it is kept.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Box, Size
from pipeline.render import compiled
from pipeline.render.kernel import Places

if TYPE_CHECKING:
    from pipeline.render.compiled import Kernels

LEAST_REDUCTION = 3.0  # below it too little of what a preview shows would be left as it is
WEIGHTS = np.array([-3, 5, 30, 30, 5, -3]) / 64


def is_small_enough(box: Box, size: Size) -> bool:
    """Return whether a preview of a box is so small that half the frame holds all it shows."""
    return min(box.width / size.width, box.height / size.height) >= LEAST_REDUCTION


def box_in_half(box: Box) -> Box:
    """Return the half pixels that lie in a box of the frame, at least in part."""
    left, top = box.left // 2, box.top // 2
    return Box(left, top, -(-(box.left + box.width) // 2) - left, -(-(box.top + box.height) // 2) - top)


def kernels_in_half(box: Box, size: Size) -> Kernels:
    """Return the weights, over `box_in_half`, that bring a box of the whole frame to a size."""
    half = box_in_half(box)
    down = _places(box.top, box.height, size.height, half.top)
    across = _places(box.left, box.width, size.width, half.left)
    return compiled.kernels_at(down, half.height, across, half.width)


def _places(start: int, length: int, count: int, half_start: int) -> Places:
    """Return the middles of `count` pixels over a part of a side, in half pixels from `half_start` on."""
    whole = Places.over(length, count)
    return Places((start + whole.first - 0.5) / 2 - half_start, whole.step / 2, count)
