"""A decoded frame as it is looked at: a reduced copy in linear light, and tiles of its original pixels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.black_point import source_black
from pipeline.light.box import Box, Point, Size
from pipeline.light.cielab import WHITE
from pipeline.light.icc import read_matrix_profile
from pipeline.light.icc_tables import to_connection_space
from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pyvips
    from numpy.typing import NDArray

    from pipeline.frames.pixels import Pixels
    from pipeline.light.icc import MatrixProfile
    from pipeline.light.smooth import Picture

XYZ_TO_SRGB = np.linalg.inv(rgb_to_pcs(SRGB))  # from the connection space, D50
LONG_SIDE = 1500
TILE_SIDE = 256


@dataclass(frozen=True, slots=True, eq=False)
class Tile:
    """Original pixels of a part of the frame: float64, height x width x bands, encoded as in the frame, 0..1."""

    box: Box
    values: Picture


def size_of(pixels: Pixels) -> Size:
    """Return the size of the upright frame."""
    return Size(pixels.image.width, pixels.image.height)


def reduced_light(pixels: Pixels, long_side: int = LONG_SIDE) -> Picture:
    """Return the frame in linear sRGB, float64, height x width x 3, its longer side at most `long_side`.

    White is 1; colours outside sRGB lie outside 0..1. It is light that is averaged, not codes.
    """
    matrix = read_matrix_profile(pixels.icc_profile)
    light = _by_curves(pixels.image, matrix) if matrix else _by_tables(pixels)
    scale = long_side / max(light.width, light.height)
    if scale < 1:
        light = light.resize(scale, kernel="linear")
    to_srgb = XYZ_TO_SRGB @ matrix.to_pcs if matrix else XYZ_TO_SRGB
    return np.asarray(_array(light).astype(np.float64) @ to_srgb.T, dtype=np.float64)


def in_light(pixels: Pixels, encoded: Picture) -> Picture:
    """Return linear sRGB (..., 3) of encoded values of the frame (..., bands), 0..1, as `reduced_light` has it."""
    matrix = read_matrix_profile(pixels.icc_profile)
    if matrix is None:
        xyz = _xyz_by_tables(pixels, encoded.astype(np.float32)).astype(np.float64)
    else:
        wide = np.broadcast_to(encoded, (*encoded.shape[:-1], 3))
        light = [curve.to_linear(wide[..., band]) for band, curve in enumerate(matrix.curves)]
        xyz = np.nan_to_num(np.stack(light, axis=-1)) @ matrix.to_pcs.T
    return np.asarray(xyz @ XYZ_TO_SRGB.T, dtype=np.float64)


def tiles(pixels: Pixels, places: Iterable[Point], side_px: int = TILE_SIDE) -> tuple[Tile, ...]:
    """Return a square tile round each place (fractions of the frame), moved or cut to lie inside the frame."""
    size = size_of(pixels)
    boxes = (_box(size, place, side_px) for place in places)
    return tuple(Tile(box, original(pixels, box)) for box in boxes)


def original(pixels: Pixels, box: Box) -> Picture:
    """Return the original pixels of a part of the frame: float64, height x width x bands, encoded, 0..1."""
    codes = _array(pixels.image.crop(box.left, box.top, box.width, box.height))
    return codes / np.float64(np.iinfo(codes.dtype).max)


def codes_of(pixels: Pixels) -> NDArray[Any]:
    """Return all codes of the frame: uint8 or uint16, height x width x bands."""
    return _array(pixels.image)


def planes_of(pixels: Pixels) -> NDArray[Any]:
    """Return all codes of the frame: uint8 or uint16, bands x height x width, each band in one piece."""
    codes = codes_of(pixels)
    planes = np.empty((codes.shape[2], *codes.shape[:2]), codes.dtype)
    for band, plane in enumerate(planes):
        plane[:] = codes[..., band]
    return planes


def _box(size: Size, place: Point, side_px: int) -> Box:
    width, height = min(side_px, size.width), min(side_px, size.height)
    left = min(max(round(place.x * size.width - width / 2), 0), size.width - width)
    top = min(max(round(place.y * size.height - height / 2), 0), size.height - height)
    return Box(left, top, width, height)


def _array(image: Any) -> NDArray[Any]:  # noqa: ANN401 (libvips images have no types to name)
    """Return height x width x bands, also where there is one band."""
    return np.asarray(image.numpy()).reshape(image.height, image.width, image.bands)


def _image(light: NDArray[np.float32]) -> pyvips.Image:
    import pyvips  # noqa: PLC0415 (heavy)

    height, width, bands = light.shape
    return pyvips.Image.new_from_memory(np.ascontiguousarray(light), width, height, bands, "float")


def _by_curves(image: Any, profile: MatrixProfile) -> pyvips.Image:  # noqa: ANN401 (as above)
    """Return linear light of the profile's own primaries, three bands."""
    top = 65535 if image.format == "ushort" else 255
    ramp = np.linspace(0.0, 1.0, top + 1)
    curves = np.stack([curve.to_linear(ramp) for curve in profile.curves], axis=-1)
    wide = image.bandjoin([image, image]) if image.bands == 1 else image
    return wide.maplut(_image(np.nan_to_num(curves)[None].astype(np.float32)))


def _by_tables(pixels: Pixels) -> pyvips.Image:
    codes = codes_of(pixels)
    return _image(_xyz_by_tables(pixels, codes.astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)))


def _xyz_by_tables(pixels: Pixels, encoded: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return XYZ D50 of encoded values, black laid on black, as pictures are rendered."""
    to_pcs = to_connection_space(pixels.icc_profile, "relative")
    if to_pcs is None:
        raise ValueError("its ICC profile cannot be read")
    black = np.float32(source_black(pixels.icc_profile))
    light = (to_pcs.to_xyz(encoded) - black * WHITE.astype(np.float32)) / (1 - black)
    return np.asarray(light, dtype=np.float32)
