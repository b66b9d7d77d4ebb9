"""All pictures of a frame in one sweep over it, in compiled code: the arithmetic of the steps, many times as fast.

`native/` is built with the package where there is a C compiler; where there is none, the steps are done one by one.
Both give the same picture but for the last bit of some codes, so which one is at work is part of the engine's version,
and a picture is made anew where that changes.
"""

from __future__ import annotations

import importlib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pipeline.render.colour import alike, codes_of_root, linear_tables
from pipeline.render.kernel import SHARP, SOFT, Places, windows

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from pipeline.light.box import Box, Size
    from pipeline.light.icc import MatrixProfile
    from pipeline.render.picturework import Picture
    from pipeline.render.sharpen import Unsharp

    Kernels = tuple[tuple[NDArray[np.int32], NDArray[np.float32], int], ...]

EDITION = 5  # of `native/picture.h`

try:
    picturework: Any = importlib.import_module("pipeline.render.picturework")
except ImportError:  # built without a compiler
    picturework = None

IS_BUILT = getattr(picturework, "EDITION", None) == EDITION  # or built before what is here was written

Wants = Literal["light", "target light", "codes"]
SINKS: tuple[Wants, ...] = ("light", "target light", "codes")
NOT_SHARPENED = None, 0, 0.0, 1.0, 0.0


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
    light: tuple[float, float, float]


def sweep(frame: Frame, wanted: Sequence[Wanted]) -> list[Made]:
    """Return pictures of a frame, all made in one sweep over it."""
    codes = frame.codes
    height, width, bands = codes.shape
    tables = None if codes.dtype == np.float32 else linear_tables(alike(frame.profile.curves), codes.dtype.itemsize)
    pictures = [_empty(one) for one in wanted]
    asked: list[Picture] = [_asked(frame, one, into) for one, into in zip(wanted, pictures, strict=True)]
    found = picturework.make((codes, codes.dtype.itemsize, bands, width, height), tables, asked)
    return [Made(picture, *one) for picture, one in zip(pictures, found, strict=True)]


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
