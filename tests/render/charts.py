"""Charts of flat squares, and pictures made of them."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips
from numpy.typing import NDArray
from PIL import Image

from pipeline.frames.pixels import Pixels
from pipeline.light.box import Box, Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import SRGB
from pipeline.plan.rendition import PixelSettings
from pipeline.render.encode import encode
from pipeline.render.picture import make_picture

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat
    from pipeline.render.picture import Picture

Array = NDArray[Any]

PLAIN = PixelSettings(0.0, 0.0, 0.0, "srgb", None, ())
SCREEN = PixelSettings(0.0, 1.0, 0.08, "srgb", None, ())
SRGB_PROFILE = write_matrix_profile(SRGB)

KINDS = {
    (1, "uint8"): "b-w",
    (1, "uint16"): "grey16",
    (3, "uint8"): "srgb",
    (3, "uint16"): "rgb16",
    (4, "uint8"): "cmyk",
}


def image_of(array: Array) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return a libvips image of (h, w) or (h, w, bands); float arrays keep their values."""
    bands = 1 if array.ndim == 2 else array.shape[2]
    image = pyvips.Image.new_from_array(np.ascontiguousarray(array))
    kind = KINDS.get((bands, str(array.dtype)))
    return image.copy(interpretation=kind) if kind else image


def pixels_of(array: Array, icc_profile: bytes = SRGB_PROFILE) -> Pixels:
    """Return a decoded frame by hand: (h, w) or (h, w, bands), uint8 or uint16."""
    return Pixels(image_of(array), icc_profile, ())


def made(
    array: Array, icc_profile: bytes = SRGB_PROFILE, settings: PixelSettings = PLAIN, size: Size | None = None
) -> Picture:
    """Return the finished picture of a whole frame, at its own size unless another is given."""
    whole = Box(0, 0, array.shape[1], array.shape[0])
    return make_picture(pixels_of(array, icc_profile), whole, size or whole.size, settings)


def finished(
    array: Array, icc_profile: bytes = SRGB_PROFILE, settings: PixelSettings = PLAIN, size: Size | None = None
) -> NDArray[np.uint8]:
    """Return the pixels (h, w, 3) of the same."""
    found: NDArray[np.uint8] = made(array, icc_profile, settings, size).image.numpy()
    return found


def chart(colours: Array, side: int, columns: int) -> Array:
    """Return (rows * side, columns * side, bands): a square of each colour, row by row; the rest is the last one."""
    rows = -(-len(colours) // columns)
    filled = np.concatenate([colours, np.repeat(colours[-1:], rows * columns - len(colours), axis=0)])
    return np.kron(filled.reshape(rows, columns, -1), np.ones((side, side, 1), colours.dtype))


def squares(picture: Array, columns: int, count: int) -> NDArray[np.float64]:
    """Return the mean of the middle of each square, (count, bands)."""
    side = picture.shape[1] // columns
    inner = slice(side // 2 - side // 8, side // 2 + side // 8)
    rows = picture.shape[0] // side
    apart = picture.reshape(rows, side, columns, side, -1)[:, inner, :, inner].astype(np.float64)
    return np.asarray(apart.mean(axis=(1, 3)).reshape(rows * columns, -1)[:count], dtype=np.float64)


def delivered(picture: Picture, output_format: OutputFormat, quality: int) -> NDArray[np.uint8]:
    """Return the pixels of the encoded file, as Pillow decodes it."""
    with Image.open(io.BytesIO(encode(picture, output_format, quality))) as opened:
        return np.asarray(opened.convert("RGB"))


def grey_steps(step: int = 1) -> NDArray[np.uint8]:
    """Return every grey of 8 bits, (4, 256 / step, 3)."""
    return np.tile(np.arange(0, 256, step, dtype=np.uint8)[None, :, None], (4, 1, 3))


def colour_grid(step: int = 51) -> NDArray[np.uint8]:
    """Return a grid of all 8-bit colours in steps, (n, 3)."""
    axis = np.arange(0, 256, step, dtype=np.uint8)
    return np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)
