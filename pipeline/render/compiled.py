"""All pictures of a frame in one sweep over it, in compiled code: the arithmetic of the steps, many times as fast.

`native/` is built with the package where there is a C compiler; where there is none, the steps are done one by one.
Both give the same picture but for the last bit of some codes, so which one is at work is part of the engine's version,
and a picture is made anew where that changes.
"""

from __future__ import annotations

import importlib
import math
from dataclasses import dataclass
from functools import reduce
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pipeline.render.colour import alike, codes_of_root, linear_tables
from pipeline.render.each import in_turn
from pipeline.render.kernel import SHARP, SOFT, Places, windows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.light.box import Box, Size
    from pipeline.light.icc import MatrixProfile
    from pipeline.render.each import Each
    from pipeline.render.picturework import Picture
    from pipeline.render.sharpen import Unsharp

    Kernels = tuple[tuple[NDArray[np.int32], NDArray[np.float32], int], ...]
    Light = tuple[float, float, float]

EDITION = 6  # of `native/picture.h`

try:
    picturework: Any = importlib.import_module("pipeline.render.picturework")
except ImportError:  # built without a compiler
    picturework = None

IS_BUILT = getattr(picturework, "EDITION", None) == EDITION  # or built before what is here was written

Wants = Literal["light", "target light", "codes"]
SINKS: tuple[Wants, ...] = ("light", "target light", "codes")
NOT_SHARPENED = None, 0, 0.0, 1.0, 0.0
STRIP = 700  # columns of the picture that has the most of them in a strip: what a core's own memory holds the rows of


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A frame or a part of one: `codes` (h, w, 1 or 3), uint8 or uint16 by `profile`, or float32 light (h, w, 3)."""

    codes: NDArray[Any]
    profile: MatrixProfile


@dataclass(frozen=True, slots=True, eq=False)
class Wanted:
    """One picture: a box of the frame at a size (never larger), for a target, and as what it is wanted.

    "light" is linear light of the frame's own space, 0..`brightest`, "target light" that of the target, sharpened,
    white 1, outside 0..1 where out of gamut, both float32; "codes" are those of the target, uint8, clipped and rounded.
    `kernels` are the weights down and across where they are not those of every reduction. With `of_half` the box is one
    of the frame at half its size (`pipeline.render.halved`).
    """

    wants: Wants
    box: Box
    size: Size
    target: MatrixProfile
    how: Unsharp | None
    brightest: float = 1.0
    kernels: Kernels | None = None
    of_half: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Made:
    """A picture (h, w, 3), its pixels outside the target's gamut, and the mean of the target's light in its codes."""

    picture: NDArray[Any]
    outside: int
    light: Light


def sweep(frame: Frame, wanted: Sequence[Wanted], each: Each = in_turn) -> list[Made]:
    """Return pictures of a frame, all made in one sweep over it: strip by strip, the strips in turn or side by side."""
    codes = frame.codes
    height, width, bands = codes.shape
    tables = None if codes.dtype == np.float32 else linear_tables(alike(frame.profile.curves), codes.dtype.itemsize)
    pictures = [_empty(one) for one in wanted]
    asked: list[Picture] = [_asked(frame, one, into) for one, into in zip(wanted, pictures, strict=True)]
    strips = _strips(wanted)

    def swept(strip: int) -> list[tuple[int, Light]]:
        made: list[tuple[int, Light]] = picturework.make(
            (codes, codes.dtype.itemsize, bands, width, height), tables, asked, strip, strips
        )
        return made

    by_strip = each(swept, range(strips))
    found = [reduce(_added, parts) for parts in zip(*by_strip, strict=True)]
    return [Made(picture, *one) for picture, one in zip(pictures, found, strict=True)]


def _strips(wanted: Sequence[Wanted]) -> int:
    """Return in how many strips to sweep all that the pictures need of a frame."""
    scales = [2 if one.of_half else 1 for one in wanted]
    left = min(one.box.left * scale for one, scale in zip(wanted, scales, strict=True))
    right = max(one.box.right * scale for one, scale in zip(wanted, scales, strict=True))
    finest = max(one.size.width / (one.box.width * scale) for one, scale in zip(wanted, scales, strict=True))
    return max(1, math.floor((right - left) * finest / STRIP + 0.5))


def _added(one: tuple[int, Light], other: tuple[int, Light]) -> tuple[int, Light]:
    """Return what was found in two parts of a picture together; added in the order of the parts, always the same."""
    (red, green, blue), (more_red, more_green, more_blue) = one[1], other[1]
    return one[0] + other[0], (red + more_red, green + more_green, blue + more_blue)


def _empty(wanted: Wanted) -> NDArray[Any]:
    kind = np.uint8 if wanted.wants == "codes" else np.float32
    return np.empty((wanted.size.height, wanted.size.width, 3), kind)


def _asked(frame: Frame, wanted: Wanted, into: NDArray[Any]) -> Picture:
    box, size, how = wanted.box, wanted.size, wanted.how
    taps = np.array(how.taps, np.float32) if how else None
    return (
        wanted.of_half,
        (box.left, box.top, box.width, box.height),
        (size.width, size.height),
        wanted.kernels or kernels_over(box, size),
        wanted.brightest,
        _matrices(frame.profile, wanted.target),
        (taps, how.window, how.strength, how.grain, how.halo_limit) if how else NOT_SHARPENED,
        SINKS.index(wanted.wants),
        codes_of_root(alike(wanted.target.curves)) if wanted.wants == "codes" else None,
        into,
    )


def _matrices(source: MatrixProfile, target: MatrixProfile) -> NDArray[np.float32]:
    """Return the matrix from source light to target light, and the luminance of source light: twelve numbers."""
    straight = np.linalg.inv(target.to_pcs) @ source.to_pcs
    return np.concatenate([straight.ravel(), source.to_pcs[1]]).astype(np.float32)


def kernels_over(box: Box, size: Size) -> Kernels | None:
    """Return the weights that bring a box to a size; None where the size stays."""
    if box.size == size:
        return None
    return kernels_at(Places.over(box.height, size.height), box.height, Places.over(box.width, size.width), box.width)


def kernels_at(down: Places, height: int, across: Places, width: int) -> Kernels:
    """Return the weights of places in a box, down and across, each through the sharp and the soft kernel."""
    found = []
    for places, side in ((down, height), (across, width)):
        for kernel in (SHARP, SOFT):
            first, weights = windows(kernel, places, side)
            found.append((first, weights, weights.shape[1]))
    return tuple(found)
