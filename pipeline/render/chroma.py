"""Whether a picture's colour edges stand halving its chroma (4:2:0), measured on the picture itself.

JPEG and AVIF keep lightness and two planes of chroma; at half size these cost fewer bytes, and saturated edges (a red
tomato on white) fray. How much, differs from picture to picture.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from pipeline.render.picture import Picture

Plane = NDArray[np.float32]

# Cb and Cr of ITU-T T.871 (JFIF), of codes 0..255.
BLUE_DIFFERENCE = (-0.168736, -0.331264, 0.5)
RED_DIFFERENCE = (0.5, -0.418688, -0.081312)
WORST_SHARE = 0.01  # edges are a small part of any picture
MOST_LOSS = 8.0  # codes; docs/encoding.md has the figures


def may_be_halved(picture: Picture) -> bool:
    """Return whether 4:2:0 leaves the colour edges of a picture as they are, as far as one can see."""
    return bool(picture.image.bands == 3 and halving_loss(picture.image.numpy()) <= MOST_LOSS)


def halving_loss(codes: NDArray[np.uint8]) -> float:
    """Return what halving costs the hundredth part of the pixels that suffers most, at least: a distance in (Cb, Cr).

    `codes` are encoded RGB, (height, width, 3), 0..255; the distance is in the same codes. Chroma is halved by the mean
    of 2 x 2 and brought back by linear interpolation, as decoders do (ITU-T T.871, centred samples).
    """
    squares = sum(np.square(_lost(codes, row)) for row in (BLUE_DIFFERENCE, RED_DIFFERENCE))
    return float(np.sqrt(np.quantile(squares, 1 - WORST_SHARE)))


def _lost(codes: NDArray[np.uint8], row: tuple[float, float, float]) -> Plane:
    """Return what is left out of one chroma plane when it is halved and brought back."""
    height, width = codes.shape[:2]
    rows, columns = height % 2, width % 2
    red, green, blue = (codes[..., band].astype(np.float32) * np.float32(share) for band, share in enumerate(row))
    plane = np.pad(red + green + blue, ((0, rows), (0, columns)), mode="edge")
    half = (plane[0::2, 0::2] + plane[0::2, 1::2] + plane[1::2, 0::2] + plane[1::2, 1::2]) / 4
    back = _doubled(_doubled(half).T).T
    return (plane - back)[:height, :width]


def _doubled(plane: Plane) -> Plane:
    """Return twice as many rows, each a quarter of the way between two: three parts of the nearer, one of the other."""
    ends = np.pad(plane, ((1, 1), (0, 0)), mode="edge")
    doubled = np.empty((2 * len(plane), plane.shape[1]), dtype=np.float32)
    doubled[0::2] = (3 * plane + ends[:-2]) / 4
    doubled[1::2] = (3 * plane + ends[2:]) / 4
    return doubled
