"""Colour: from the frame's encoding through linear light and X, Y and Z under D50 to the target's encoding.

Matrix and grey profiles are applied as their own table and 3 x 3 (exact in float; relative colorimetric, where
black maps to black by construction, so black-point compensation changes nothing). What a target's ICC profile has in
tables is read in float32 as it stands (`pipeline.light.icc_tables`), black laid on its black; a frame's likewise
(`pipeline.render.source`). Sources: [ICC1], [ISO18619], [CIE15] in DEVELOPERS.md.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

from pipeline.light.cielab import WHITE
from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.icc_output import GreyProfile, RGBProfile, TableProfile
from pipeline.light.spaces import PCS_WHITE
from pipeline.render.arrays import by_array
from pipeline.render.gamut import TOLERANCE, lost_share, soften

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pipeline.light.icc import MatrixProfile
    from pipeline.light.spaces import Matrix, RGBSpace
    from pipeline.light.transfer import Curve
    from pipeline.render.output_profile import Space

FINE = 65535  # steps over the square root of linear light: none is over 0.011 of an 8-bit level
INTERPRETATIONS = {1: "b-w", 3: "srgb", 4: "cmyk"}


def matrix_of(space: RGBSpace | RGBProfile) -> MatrixProfile:
    """Return the space as its own embedded profile says it, so that pixels and profile agree to the last bit."""
    return space.matrix if isinstance(space, RGBProfile) else _matrix_of(space)


@lru_cache(maxsize=8)
def _matrix_of(space: RGBSpace) -> MatrixProfile:
    profile = read_matrix_profile(write_matrix_profile(space))
    if profile is None:
        raise AssertionError(f"{space.name} is not a matrix space")
    return profile


def _recomb(matrix: Matrix) -> Callable[[Any], Any]:
    rows = matrix.tolist()
    return lambda image: image.recomb(rows)


@lru_cache(maxsize=8)
def linear_tables(curves: tuple[Curve, ...], code_bytes: int) -> NDArray[np.float32]:
    """Return linear light (curves, codes) of every code of 8 or 16 bits."""
    encoded = np.linspace(0.0, 1.0, 1 << (8 * code_bytes))
    return np.stack([curve.to_linear(encoded) for curve in curves]).astype(np.float32)


@lru_cache(maxsize=8)
def codes_of_root(curves: tuple[Curve, ...]) -> NDArray[np.uint8]:
    """Return the nearest code (curves, 65536) of each 65535th of the square root of linear light."""
    light = np.linspace(0.0, 1.0, FINE + 1) ** 2
    return np.stack([_rounded(curve.to_encoded(light)) for curve in curves])


def linear_light(source: MatrixProfile) -> Callable[[Any], Any]:
    """Return a step from encoded source pixels (uchar or ushort) to linear light of the source's RGB, float 0..1."""

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        table = linear_tables(source.curves, 2 if image.format == "ushort" else 1)
        lut = pyvips.Image.new_from_memory(table.T.tobytes(), table.shape[1], 1, 3, "float")
        return image.maplut(lut)

    return step


def working_space(source: MatrixProfile) -> Callable[[Any], Any]:
    """Return a step from linear light of the source's RGB to X, Y and Z under D50, float, Y of white 1."""
    return _recomb(source.to_pcs)


def target_space(space: Space, gamut: str = "clip") -> Callable[[Any], Any]:
    """Return a step from X, Y and Z under D50 to linear light of the target, float, white 1.

    What is out of gamut lies outside 0..1. RGB has three bands, grey one. For tables they are XYZ, each by that of
    white, with black at the profile's black.
    `gamut` "soft" lowers the chroma of RGB that lies outside, "clip" leaves it to the rounding.
    """
    if isinstance(space, GreyProfile):
        return lambda image: image[1]
    if isinstance(space, TableProfile):
        rest, black = 1 - space.black, space.black
        return lambda image: image / list(PCS_WHITE) * rest + black
    to_pcs = matrix_of(space).to_pcs
    from_pcs = np.asarray(np.linalg.inv(to_pcs), dtype=np.float64)
    soft = soften(to_pcs) if gamut == "soft" else lambda image: image
    return lambda image: soft(_recomb(from_pcs)(image))


def outside_gamut(working: Any, space: Space) -> float:  # noqa: ANN401 (libvips images have no types to name)
    """Return the share (0..1) of pixels of an image of X, Y and Z under D50 that lie outside the gamut of `space`.

    For tables that is what does not come back from them; for grey, what is darker than black or lighter than white.
    """
    if isinstance(space, TableProfile):
        return lost_share(working, space)
    light = target_space(space)(working)
    outside = (light < -TOLERANCE) | (light > 1 + TOLERANCE)
    return float((outside.bandor() if outside.bands > 1 else outside).avg()) / 255


def quantise(space: Space) -> Callable[[Any], Any]:
    """Return a step from linear light of the target (float, clipped here to 0..1) to its codes, uchar, rounded.

    Grey has one band, RGB three, CMYK four: 255 is full ink.
    """
    if isinstance(space, TableProfile):
        return _by_tables(space)
    curves = (space.curve,) if isinstance(space, GreyProfile) else matrix_of(space).curves
    table = codes_of_root(alike(curves))
    lut = pyvips.Image.new_from_memory(table.T.tobytes(), FINE + 1, 1, len(table), "uchar")

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        root = (image > 0).ifthenelse(image, 0) ** 0.5
        return (root * FINE + 0.5).cast("ushort").maplut(lut).copy(interpretation=INTERPRETATIONS[image.bands])

    return step


def alike(curves: tuple[Curve, ...]) -> tuple[Curve, ...]:
    """Return one curve where all are the same."""
    return curves[:1] if all(curve == curves[0] for curve in curves) else curves


def _rounded(encoded: NDArray[Any]) -> NDArray[np.uint8]:
    """Return codes (0..255) of encoded values (0..1)."""
    return np.asarray(np.round(np.clip(encoded, 0.0, 1.0) * 255), dtype=np.uint8)


def _by_tables(space: TableProfile) -> Callable[[Any], Any]:
    white = WHITE.astype(np.float32)
    kind = INTERPRETATIONS[space.channels]
    return lambda image: by_array(image, lambda light: _rounded(space.from_pcs.from_xyz(light * white)), kind)
