"""A frame as the steps take it: codes that become light by three curves, and the matrix from that light to XYZ.

Frames with a matrix or grey profile are that already. One with tables (presses, scanners, some cameras) is brought
there once, in float32, as its tables have it: 16 bits over the square root of X, Y and Z, each by that of white, finer
than any frame, with room for what is darker than the black that is laid on black. Sources: [ICC1], [ISO18619].
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

from pipeline.light.black_point import source_black
from pipeline.light.cielab import WHITE
from pipeline.light.icc import MatrixProfile, read_matrix_profile
from pipeline.light.icc_tables import to_connection_space
from pipeline.light.transfer import Sampled
from pipeline.render.arrays import by_array, fractions

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.frames.pixels import Pixels
    from pipeline.light.stages import Planes
    from pipeline.render.arrays import Codes

# Roots, with their sign, of the darkest light that compensation leaves (ISO 18619 takes no black lighter than L 50) and
# of the brightest that a table should hold.
LEAST, MOST = -0.5, 1.12
TOP = 65535


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """Codes (uchar or ushort; one band where the profile is grey), and what makes XYZ D50 of them.

    `codes` (h, w, bands) and `image` are the same memory.
    """

    image: Any
    codes: Codes
    profile: MatrixProfile

    @classmethod
    def of(cls, image: Any, profile: MatrixProfile) -> Source:  # noqa: ANN401 (libvips images have no types to name)
        """Return a source of a libvips image of which no array is at hand."""
        codes = np.asarray(image.numpy()).reshape(image.height, image.width, image.bands)
        held = pyvips.Image.new_from_memory(codes, image.width, image.height, image.bands, image.format)
        return cls(held.copy(interpretation=image.interpretation), codes, profile)


def source_of(pixels: Pixels) -> Source:
    """Return a frame ready for the steps, relative colorimetric, black laid on black.

    ValueError for a profile that cannot be read.
    """
    matrix = read_matrix_profile(pixels.icc_profile)
    if matrix:
        return Source.of(pixels.image, matrix) if pixels.codes is None else Source(pixels.image, pixels.codes, matrix)
    to_pcs = to_connection_space(pixels.icc_profile, "relative")
    if to_pcs is None:
        raise ValueError("its ICC profile cannot be read")
    black = source_black(pixels.icc_profile)

    def coded(codes: Codes) -> NDArray[np.uint16]:
        relative = to_pcs.to_xyz(fractions(codes)) / WHITE.astype(np.float32)
        light = (relative - np.float32(black)) * np.float32(1 / (1 - black))
        return _codes(np.copysign(np.sqrt(np.abs(light)), light))

    return Source.of(by_array(pixels.image, coded, "rgb16"), _by_roots())


def _codes(root: Planes) -> NDArray[np.uint16]:
    share = (np.clip(root, LEAST, MOST) - LEAST) / (MOST - LEAST)
    return np.asarray(share * TOP + 0.5, dtype=np.uint16)


@cache
def _by_roots() -> MatrixProfile:
    """Return what makes XYZ of such codes."""
    root = LEAST + np.linspace(0.0, 1.0, TOP + 1) * (MOST - LEAST)
    curve = Sampled(tuple((root * np.abs(root)).tolist()))
    return MatrixProfile(np.diag(WHITE), (curve, curve, curve))
