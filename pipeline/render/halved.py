"""A frame at half its size: what small previews for the contact sheet are made from, so that many of them cost little.

Each half pixel is a weighed sum of six by six. The weights are those of six taps whose response is flat at the broadest
lines and flat at nought for the finest, which could come back as broad ones: 0.95 at 0.13 and 0.025 at 0.43 cycles a
pixel. Places are carried over exactly: nothing is shifted by rounding.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Box, Size
from pipeline.render import compiled
from pipeline.render.kernel import Places, held_inside

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.render.compiled import Frame, Kernels

LEAST_REDUCTION = 3.0  # below it too little of what a preview shows would be left as it is
WEIGHTS = np.array([-3, 5, 30, 30, 5, -3]) / 64


def is_small_enough(box: Box, size: Size) -> bool:
    """Return whether a preview of a box is so small that half the frame holds all it shows."""
    return min(box.width / size.width, box.height / size.height) >= LEAST_REDUCTION


def half_of(frame: Frame) -> compiled.Wanted:
    """Return what to ask of a sweep for the light of a whole frame at half its size.

    An odd last line or column counts as half.
    """
    height, width = frame.codes.shape[:2]
    size = Size(-(-width // 2), -(-height // 2))
    down, across = _weights(height), _weights(width)
    kernels: Kernels = (down, down, across, across)
    return compiled.Wanted("light", Box(0, 0, width, height), size, frame.profile, None, kernels=kernels)


def _weights(side: int) -> tuple[NDArray[np.int32], NDArray[np.float32], int]:
    """Return for each half pixel the first source pixel and the weights from there on; rims are repeated."""
    reached = 2 * np.arange(-(-side // 2))[:, None] + np.arange(-2, 4)
    first, weights = held_inside(reached, np.broadcast_to(WEIGHTS, reached.shape), side)
    return first, weights, weights.shape[1]


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
