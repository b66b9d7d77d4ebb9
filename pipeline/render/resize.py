"""Cut and reduce, both on whole pixels of the planned size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pyvips
from numpy.typing import NDArray

from pipeline.render.kernel import SHARP, SOFT, Places, band, one_thread
from pipeline.render.rings import without_dark_rings

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.light.box import Box, Size
    from pipeline.render.kernel import Band

Light = NDArray[np.float32]

STRIP = 32  # output pixels that are worked out together: small enough for a core's own memory
CHUNK = 128  # source rows that are held at once


def cut(box: Box) -> Callable[[Any], Any]:
    """Return a step that cuts `box` out of an upright image."""
    return lambda image: image.crop(box.left, box.top, box.width, box.height)


def reduce(size: Size, brightest: float | None) -> Callable[[Any], Any]:
    """Return a step that brings a float image of linear light to `size` exactly (never larger), in memory.

    Lanczos of three lobes over the whole reduction, down and across, at the exact place of each pixel. The dark rings
    that it leaves beside what is much brighter are bounded, light kept (`rings`). What it rings above `brightest`, the
    most that the frame's own encoding can hold (None where that is not known), is cut off.
    """

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        if (image.width, image.height) == (size.width, size.height):
            return image
        with one_thread():
            sharp, soft = reduced(image.cast("float"), size)
        return image_of(without_dark_rings(sharp, soft, brightest))

    return step


def image_of(light: Light) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return (h, w, bands) as a libvips image over the same memory."""
    height, width, bands = light.shape
    return pyvips.Image.new_from_memory(light, width, height, bands, "float")


def reduced(image: Any, size: Size) -> tuple[Light, Light]:  # noqa: ANN401 (as above)
    """Return the light (h, w, bands) of a float image at `size` through the sharp and the soft kernel.

    Strip by strip of output rows: first down, over whole source rows, then across. Each is a product of a small
    matrix of weights with the light, laid out so that both read memory in order.
    """
    down, across = Places.over(image.height, size.height), Places.over(image.width, size.width)
    kernels = SHARP, SOFT
    columns = [[(start, band(k, part, image.width)) for start, part in across.runs(STRIP)] for k in kernels]
    found = tuple(np.empty((size.height, size.width, image.bands), np.float32) for _ in kernels)
    region = pyvips.Region.new(image)
    for top, part in down.runs(STRIP):
        bands = [band(kernel, part, image.height) for kernel in kernels]
        rows = _rows_down(region, image, bands)
        for light, strip, blocks in zip(found, rows, columns, strict=True):
            light[top : top + part.count] = _across(strip, blocks, size.width)
    return found[0], found[1]


def _rows_down(region: Any, image: Any, bands: list[Band]) -> list[Light]:  # noqa: ANN401 (as above)
    """Return for each band of weights its rows of light, as (width, bands, rows)."""
    line = image.width * image.bands
    sums: list[Light | None] = [None] * len(bands)
    first, last = min(one.start for one in bands), max(one.stop for one in bands)
    for start in range(first, last, CHUNK):
        stop = min(start + CHUNK, last)
        source = np.frombuffer(region.fetch(0, start, image.width, stop - start), np.float32).reshape(-1, line)
        for number, one in enumerate(bands):
            low, high = max(start, one.start), min(stop, one.stop)
            if low < high:
                part = source[low - start : high - start].T @ one.weights[:, low - one.start : high - one.start].T
                before = sums[number]
                sums[number] = part if before is None else before + part
    return [rows.reshape(image.width, image.bands, -1) for rows in sums if rows is not None]


def _across(strip: Light, blocks: list[tuple[int, Band]], width: int) -> Light:
    """Return (rows, width, bands) of a strip (source width, bands, rows)."""
    _, bands, rows = strip.shape
    lines = strip.reshape(len(strip), bands * rows)
    found = np.empty((width, bands * rows), np.float32)
    for start, one in blocks:
        np.matmul(one.weights, lines[one.start : one.stop], out=found[start : start + len(one.weights)])
    return found.reshape(width, bands, rows).transpose(2, 0, 1)
