"""Colour: from the frame's encoding through linear light and CIE Lab D50 to the target's encoding.

Matrix and grey profiles are applied as their own table and 3 x 3 (exact in float; relative colorimetric, where
black maps to black by construction, so black-point compensation changes nothing). Every other profile goes
through the colour management module inside libvips, relative colorimetric, with black-point compensation here.
Sources: [ICC1], [ISO18619], [CIE15] in DEVELOPERS.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.spaces import PCS_WHITE
from pipeline.light.transfer import Parametric

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.light.icc import MatrixProfile
    from pipeline.light.spaces import Matrix, RGBSpace

PCS_WHITE_100 = [100 * value for value in PCS_WHITE]
FINE = 65535  # steps over the square root of linear light: none is over 0.011 of an 8-bit level

LIGHTEST_BLACK_POINT = 50.0  # L*, ISO 18619: a lighter "black" is no black

# Float arithmetic leaves in-gamut greys a hair outside; a pixel counts as outside from a quarter 8-bit level on.
GAMUT_TOLERANCE = 0.001


def matrix_of(space: RGBSpace) -> MatrixProfile:
    """Return the space as its own embedded profile says it, so that pixels and profile agree to the last bit."""
    profile = read_matrix_profile(write_matrix_profile(space))
    if profile is None:
        raise AssertionError(f"{space.name} is not a matrix space")
    return profile


def _recomb(matrix: Matrix) -> Callable[[Any], Any]:
    rows = matrix.tolist()
    return lambda image: image.recomb(rows)


def linear_light(source: MatrixProfile | None, icc_profile: bytes) -> Callable[[Any], Any]:
    """Return a step from encoded source pixels (uchar or ushort) to linear light, float 0..1.

    With a matrix profile the bands stay the source's red, green and blue; without one (tables, grey,
    CMYK) `icc_profile` is applied as it is and they become XYZ relative to D50, which is linear as well.
    """

    def by_curves(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        codes = 65536 if image.format == "ushort" else 256
        encoded = np.linspace(0.0, 1.0, codes)
        table = np.stack([curve.to_linear(encoded) for curve in source.curves], axis=-1) if source else encoded
        lut = pyvips.Image.new_from_memory(table.astype(np.float32).tobytes(), codes, 1, 3, "float")
        return image.maplut(lut)

    def by_module(image: Any) -> Any:  # noqa: ANN401 (as above)
        # By way of Lab: XYZ as libvips hands it out is relative to D65 instead of the profile's D50.
        xyz = _by_module(image, icc_profile).Lab2XYZ(temp=PCS_WHITE_100) / 100
        black = _black_luminance(icc_profile, image.bands)
        return (xyz - [black * white for white in PCS_WHITE]) / (1 - black)

    return by_curves if source else by_module


def _by_module(image: Any, icc_profile: bytes) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    return _tagged(image, icc_profile).icc_import(embedded=True, pcs="lab", intent="relative")


def _tagged(image: Any, icc_profile: bytes) -> Any:  # noqa: ANN401 (as above)
    tagged = image.copy()
    tagged.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc_profile)
    return tagged


def _black_luminance(icc_profile: bytes, bands: int) -> float:
    """Return Y (0..1) of the source's black point, by the steps of ISO 18619.

    For CMYK it is what the profile makes of black (all inks at once are no press's black). The module's own
    compensation is not used: the Lab that it hands to libvips ends at L 0, where dark inks would keep their hue.
    """
    nothing = pyvips.Image.black(1, 1, bands=bands)
    if bands == 4:
        black = _tagged(pyvips.Image.black(1, 1, bands=3).cast("float").copy(interpretation="lab"), icc_profile)
        try:
            nothing = black.icc_export(intent="perceptual")
        except pyvips.Error:
            return 0.0  # a profile of one direction only
    else:
        nothing = nothing.copy(interpretation="srgb" if bands == 3 else "b-w")
    lightness = min(_by_module(nothing, icc_profile).getpoint(0, 0)[0], LIGHTEST_BLACK_POINT)
    return float(pyvips.Image.black(1, 1, bands=3).linear(1, [lightness, 0, 0]).Lab2XYZ().getpoint(0, 0)[1]) / 100


def working_space(source: MatrixProfile | None) -> Callable[[Any], Any]:
    """Return a step from linear light (source RGB, or XYZ D50) to CIE Lab D50, float, L 0..100."""

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        xyz = _recomb(source.to_pcs)(image) if source else image
        return (xyz * 100).copy(interpretation="xyz").XYZ2Lab(temp=PCS_WHITE_100)

    return step


def target_space(space: RGBSpace) -> Callable[[Any], Any]:
    """Return a step from CIE Lab D50 to linear RGB of `space`, float; outside 0..1 where out of gamut."""
    from_pcs = np.asarray(np.linalg.inv(matrix_of(space).to_pcs), dtype=np.float64)

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        xyz = image.copy(interpretation="lab").Lab2XYZ(temp=PCS_WHITE_100) / 100
        return _recomb(from_pcs)(xyz)

    return step


def outside_gamut(working: Any, space: RGBSpace) -> float:  # noqa: ANN401 (libvips images have no types to name)
    """Return the share (0..1) of pixels of a CIE Lab D50 image that lie outside the gamut of `space`."""
    light = target_space(space)(working)
    outside = (light < -GAMUT_TOLERANCE) | (light > 1 + GAMUT_TOLERANCE)
    return float(outside.bandor().avg()) / 255


def quantise(space: RGBSpace) -> Callable[[Any], Any]:
    """Return a step from linear RGB of `space` (float, clipped here to 0..1) to encoded uchar 0..255, rounded."""
    curve = matrix_of(space).curves[0]
    if not isinstance(curve, Parametric):
        raise AssertionError(f"{space.name} has no inverse curve")  # noqa: TRY004 (our own spaces all have one)
    table = np.round(curve.to_encoded(np.linspace(0.0, 1.0, FINE + 1) ** 2) * 255).astype(np.uint8)
    lut = pyvips.Image.new_from_memory(table.tobytes(), FINE + 1, 1, 1, "uchar")

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        root = (image > 0).ifthenelse(image, 0) ** 0.5
        return (root * FINE + 0.5).cast("ushort").maplut(lut).copy(interpretation="srgb")

    return step
