"""The picture in double precision: what the pixels of a rendition would be if nothing were rounded on the way.

Shares no code with `pipeline`: the two kernels and the bound on dark rings are restated here as plain sums, colour is
colour-science's. Light is reduced as a sum over every source pixel within the kernel's reach, edge pixels repeated; a
turned picture is gathered directly, one sum over both axes for each output pixel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tests.light.colour_science import PCS_WHITE, colour, linear, pcs_matrix

if TYPE_CHECKING:
    from pipeline.light.box import Box, Size

Floats = NDArray[np.float64]
Kernel = tuple[float, str]

SHARP, SOFT = (3.0, "lanczos"), (0.75, "hann")  # reach in output pixels
DEPTH, VALLEY = 0.05, 0.3


def weigh(kernel: Kernel, x: Floats) -> Floats:
    """Return the weight at `x` output pixels from the middle."""
    reach, name = kernel
    shape = np.sinc(x) * np.sinc(x / reach) if name == "lanczos" else np.cos(np.pi * x / reach / 2) ** 2
    return np.where(np.abs(x) < reach, shape, 0.0)


def taps(kernel: Kernel, places: Floats, factor: float, side: int) -> tuple[NDArray[np.int64], Floats]:
    """Return the source pixels (n, taps) around each place (in source pixels) and their weights, each row's sum 1."""
    scale = max(factor, 1.0)
    first = np.ceil(places - kernel[0] * scale).astype(np.int64)
    at = first[:, None] + np.arange(int(np.ceil(2 * kernel[0] * scale)) + 1)
    weights = weigh(kernel, (at - places[:, None]) / scale)
    return np.clip(at, 0, side - 1), weights / weights.sum(axis=1, keepdims=True)


def _resampled_rows(kernel: Kernel, light: Floats, height: int) -> Floats:
    factor = len(light) / height
    places = np.asarray((np.arange(height) + 0.5) * factor - 0.5, dtype=np.float64)
    flat = light.reshape(len(light), -1)
    rows = [weights @ flat[at] for at, weights in zip(*taps(kernel, places, factor, len(light)), strict=True)]
    return np.stack(rows).reshape(height, *light.shape[1:])


def resampled(kernel: Kernel, light: Floats, size: Size) -> Floats:
    """Return linear light (h, w, 3) at `size` through one kernel; rings are left as they come."""
    rows = _resampled_rows(kernel, light, size.height)
    return _resampled_rows(kernel, rows.swapaxes(0, 1), size.width).swapaxes(0, 1)


def _nine(light: Floats, outside: float) -> Floats:
    """Return each pixel with its eight neighbours, (h, w, 3, 3, 3); what lies outside the picture is `outside`."""
    padded = np.pad(light, ((1, 1), (1, 1), (0, 0)), constant_values=outside)
    return np.asarray(sliding_window_view(padded, (3, 3), axis=(0, 1)))


def _valley(soft: Floats) -> Floats:
    height, width = soft.shape[:2]
    padded = np.pad(soft, ((2, 2), (2, 2), (0, 0)), mode="edge")

    def at(down: int, right: int) -> Floats:
        return padded[2 + down : 2 + down + height, 2 + right : 2 + right + width]

    across = np.minimum(np.maximum(at(0, -1), at(0, -2)), np.maximum(at(0, 1), at(0, 2)))
    along = np.minimum(np.maximum(at(-1, 0), at(-2, 0)), np.maximum(at(1, 0), at(2, 0)))
    return np.asarray(np.maximum(np.maximum(across, along) - soft, 0), dtype=np.float64)


def without_dark_rings(sharp: Floats, soft: Floats) -> Floats:
    """Return light in which no pixel is over 5 % darker than the darkest of nine soft ones, so far as light can be had.

    In a valley of the soft light, across or down, it may be darker by three tenths of the depth. A valley's sides are
    the brighter of the next two pixels on either hand; its depth is what the lower side is above the middle.
    A pixel asks its neighbours for what it lacks, in proportion to what they have above their own bound; who is asked
    for more than that gives all of it, in proportion to what was asked.
    """
    bound = (1 - DEPTH) * _nine(soft, np.inf).min(axis=(-1, -2))
    lack, spare = np.maximum(bound - sharp - VALLEY * _valley(soft), 0), np.maximum(sharp - bound, 0)
    in_reach = _nine(spare, 0).sum(axis=(-1, -2))
    share = np.divide(lack, in_reach, out=np.zeros_like(lack), where=in_reach > 0)
    asked = _nine(share, 0).sum(axis=(-1, -2)) * spare
    given = np.minimum(asked, spare)
    part = np.divide(given, asked, out=np.zeros_like(given), where=asked > 0)
    return np.asarray(sharp + share * _nine(spare * part, 0).sum(axis=(-1, -2)) - given, dtype=np.float64)


def reduce_reference(linear: Floats, size: Size) -> Floats:
    """Return linear light (h, w, 3) brought to `size` (never larger), held to 0 and above; what is over 1 stays."""
    if linear.shape[:2] == (size.height, size.width):
        return linear
    return np.maximum(without_dark_rings(resampled(SHARP, linear, size), resampled(SOFT, linear, size)), 0.0)


def gathered(kernel: Kernel, light: Floats, box: Box, size: Size, turn_deg: float, frame: Size) -> Floats:
    """Return the light of a box of the turned frame at `size` through one kernel, straight from the unturned light.

    Positive `turn_deg` turns the picture clockwise about its centre. `frame` is the size of the turned frame whose
    pixels `box` counts; its centre is the unturned frame's.
    """
    height, width = light.shape[:2]
    cosine, sine = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    across, down = box.width / size.width, box.height / size.height
    wide, high = max(across, 1.0), max(down, 1.0)
    reach = int(np.ceil(kernel[0] * np.hypot(wide, high))) + 1
    around = np.arange(-reach, reach + 1)
    right = box.left + (np.arange(size.width) + 0.5) * across - frame.width / 2
    found = np.empty((size.height, size.width, light.shape[2]))
    for row in range(size.height):
        below = box.top + (row + 0.5) * down - frame.height / 2
        # A clockwise turn takes (x, y), y downwards, to (x cos - y sin, x sin + y cos); this is the way back.
        x = (right * cosine + below * sine + width / 2 - 0.5)[:, None, None]
        y = (below * cosine - right * sine + height / 2 - 0.5)[:, None, None]
        columns = np.rint(x).astype(np.int64) + around[None, None, :]
        rows = np.rint(y).astype(np.int64) + around[None, :, None]
        to_right, to_below = columns - x, rows - y
        weights = weigh(kernel, (to_right * cosine - to_below * sine) / wide)
        weights = weights * weigh(kernel, (to_right * sine + to_below * cosine) / high)
        weights /= weights.sum(axis=(1, 2), keepdims=True)
        inside = light[np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)]
        found[row] = np.einsum("xij,xijc->xc", weights, inside)
    return found


def turned_reference(linear: Floats, box: Box, size: Size, turn_deg: float, frame: Size) -> Floats:
    """Return `gathered` light with its dark rings bounded, held to 0 and above."""
    sharp, soft = (gathered(kernel, linear, box, size, turn_deg, frame) for kernel in (SHARP, SOFT))
    return np.maximum(without_dark_rings(sharp, soft), 0.0)


def reference_picture(
    encoded: NDArray[np.uint8] | NDArray[np.uint16],
    space: str,
    box: Box,
    size: Size,
    turn_deg: float = 0.0,
    frame: Size | None = None,
) -> Floats:
    """Return CIE Lab D50 (h, w, 3) of a box of a frame at `size`, before sharpening.

    `encoded` is (h, w, 3), the whole frame; `space` a name of `tests.light.colour_science` ("sRGB", "Display P3" ...).
    `frame` is the size of the turned frame, whose pixels `box` counts (needed where `turn_deg` is not 0). Light is
    held to what the encoding holds, 0..1, as the steps do.
    """
    light = linear(encoded / np.iinfo(encoded.dtype).max, space)
    if turn_deg:
        if frame is None:
            raise ValueError("the size of the turned frame is needed")
        reduced = turned_reference(light, box, size, turn_deg, frame)
    else:
        reduced = reduce_reference(light[box.top : box.bottom, box.left : box.right], size)
    return lab_of(np.clip(reduced, 0.0, 1.0), space)


def lab_of(light: Floats, space: str) -> Floats:
    """Return CIE Lab D50 of linear RGB of a space."""
    white = colour.XYZ_to_xy(PCS_WHITE)
    return np.asarray(colour.XYZ_to_Lab(light @ pcs_matrix(space).T, white), dtype=np.float64)
