"""Between libvips images and numpy arrays of colours, in memory."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pipeline.light.stages import Planes

    Codes = NDArray[np.uint8] | NDArray[np.uint16]

FORMATS = {"uint8": "uchar", "uint16": "ushort", "float32": "float"}
COLOURS = 1 << 18  # worked on at a time, so that a large picture needs little memory beside itself


def by_array(
    image: Any,  # noqa: ANN401 (libvips images have no types to name)
    work: Callable[[NDArray[Any]], NDArray[Any]],
    interpretation: str,
) -> Any:  # noqa: ANN401 (as above)
    """Return the image whose colours are what `work` makes of these: arrays (n, bands) in, (n, other bands) out."""
    colours = np.asarray(image.numpy()).reshape(-1, image.bands)
    parts = [work(colours[start : start + COLOURS]) for start in range(0, len(colours), COLOURS)]
    found = np.ascontiguousarray(np.concatenate(parts))
    made = pyvips.Image.new_from_memory(found, image.width, image.height, found.shape[1], FORMATS[str(found.dtype)])
    return made.copy(interpretation=interpretation)


def codes_image(codes: NDArray[np.uint8]) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return encoded RGB (h, w, 3) as a libvips image over the same memory."""
    height, width, bands = codes.shape
    return pyvips.Image.new_from_memory(codes, width, height, bands, "uchar").copy(interpretation="srgb")


def fractions(codes: Codes) -> Planes:
    """Return codes of 8 or 16 bits as float32, 0..1."""
    return codes.astype(np.float32) / np.float32(np.iinfo(codes.dtype).max)
