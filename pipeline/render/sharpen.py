"""Output sharpening on lightness, after the last resize and before the target's space.

Unsharp masking, held back twice by the range of lightness around each pixel: where that is no more than grain would
make it, nothing is added; and no result leaves it by more than a share of itself. What is made lighter or darker gets
as much more or less light of its own colour: hue and saturation stay, and what is darkened cannot leave the gamut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import pyvips
from numpy.typing import NDArray

from pipeline.light.cielab import lightnesses_of, luminances_of
from pipeline.light.sharpness import (
    PAPER_GAIN,
    edge_sigma_px,
    gaussian_taps,
    range_of_noise,
    screen_gain,
    sigma_for_halo,
    strength_for_gain,
    strength_for_overshoot,
)

if TYPE_CHECKING:
    from collections.abc import Callable

Plane = NDArray[np.float32]
Scalar = TypeVar("Scalar", np.float32, np.bool_)

# The range, in L*, of three by three pixels that is half taken for grain. An unreduced frame of 24 megapixels has about
# 2.4 of it in middle grey at ISO 1600, less at ISO 100 and after any reduction.
GRAIN = 4.0
# L* of 8-bit levels 1.5 and 253.5: what is black or blown stays so.
DARKEST, LIGHTEST = 0.42, 99.45
SMALLEST_SIDE = 5
EDGE_PX = 2  # how far beside what is blown its edge goes on, before a halo begins
STRIP = 64  # rows that are worked out together: small enough for a core's own memory


@dataclass(frozen=True, slots=True)
class Unsharp:
    """One sharpening: the blur (one side of it, the middle first) and how much of the difference to it is added.

    `window` is how far the range around a pixel is taken (1 is three by three), `grain` which range, in L*, is half
    taken for grain, and `halo_limit` by what share of the range the result may leave it.
    """

    taps: tuple[float, ...]
    strength: float
    window: int
    grain: float
    halo_limit: float


@lru_cache(maxsize=64)
def unsharp(radius_px: float, amount: float, halo_limit: float, reduction: float) -> Unsharp:
    """Return the sharpening of a picture `reduction` times smaller than its part of the frame.

    `radius_px` is half the full width of a halo on paper in output pixels; 0 for a screen, where the reduction decides.
    `amount` is 0..2, 1 the house strength; `halo_limit` a share of the range around a pixel.
    """
    edge = edge_sigma_px(max(reduction, 1.0))
    if radius_px > 0:
        sigma = sigma_for_halo(2 * radius_px, edge)
        taps = gaussian_taps(sigma)
        strength = min(strength_for_gain(taps, PAPER_GAIN), strength_for_overshoot(sigma, halo_limit))
    else:
        sigma = edge
        taps = gaussian_taps(sigma)
        strength = strength_for_gain(taps, screen_gain(max(reduction, 1.0)))
    window = math.ceil(1.2 * sigma)  # a smaller one would cut the halo off
    grain = GRAIN * range_of_noise((2 * window + 1) ** 2) / range_of_noise(9)
    return Unsharp(taps, strength * amount, window, grain, halo_limit)


def sharpen_lightness(radius_px: float, amount: float, halo_limit: float, reduction: float) -> Callable[[Any], Any]:
    """Return a step that raises local contrast of L* in an image of X, Y and Z under D50, Y of white 1. See `unsharp`.

    X, Y and Z of a pixel become as many times lighter: their proportions stay as they are. A picture less than five
    pixels wide or high is left alone.
    """
    if amount <= 0:
        return lambda image: image
    how = unsharp(radius_px, amount, halo_limit, reduction)

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        if min(image.width, image.height) < SMALLEST_SIDE:
            return image
        xyz = np.asarray(image.numpy(), dtype=np.float32)
        before = lightnesses_of(xyz[..., 1])
        after = sharpened(before, how)
        changed = after != before
        xyz[changed] *= (luminances_of(after[changed]) / luminances_of(before[changed]))[:, None]
        made = pyvips.Image.new_from_memory(xyz, image.width, image.height, xyz.shape[2], "float")
        return made.copy(interpretation=image.interpretation)

    return step


def sharpened(lightness: Plane, how: Unsharp) -> Plane:
    """Return L* (h, w) sharpened; beyond its rim the picture is taken to go on as it ends."""
    reach = max(len(how.taps) - 1 + EDGE_PX, how.window)
    padded = np.pad(lightness, reach, mode="edge")
    found = np.empty_like(lightness)
    for top in range(0, len(lightness), STRIP):
        rows = padded[top : top + STRIP + 2 * reach]
        found[top : top + STRIP] = _strip(rows, reach, how)
    return found


def _strip(rows: Plane, reach: int, how: Unsharp) -> Plane:
    """Return the sharpened inside of rows that go `reach` pixels further on every side."""
    lightness = rows[reach:-reach, reach:-reach]
    darkest, lightest = _extremes(rows, reach, how.window)
    width = lightest - darkest
    fourth = (width * width) ** 2
    added = (lightness - _blurred(rows, reach, how.taps)) * (fourth / (fourth + how.grain**4)) * how.strength
    width *= how.halo_limit
    lowest = np.where(_near_blown(rows, reach), darkest, darkest - width)
    bounded = np.clip(lightness + added, lowest, lightest + width)
    return np.where((lightness > DARKEST) & (lightness < LIGHTEST), bounded, lightness)


def _near_blown(rows: Plane, reach: int) -> NDArray[np.bool_]:
    """Return where no dark line may be drawn: beside what is blown, for how light that really was is not known."""
    blown = rows >= LIGHTEST
    if not blown.any():
        return np.zeros((1, 1), dtype=np.bool_)
    for axis in (0, 1):
        found = _shifted(blown, reach, 0, axis).copy()
        for at in range(1, reach + 1):
            found |= _shifted(blown, reach, -at, axis) | _shifted(blown, reach, at, axis)
        blown = found
    return blown


def _blurred(rows: Plane, reach: int, taps: tuple[float, ...]) -> Plane:
    """Return the blur down and across of the inside of `rows`."""
    for axis in (0, 1):
        inside = _shifted(rows, reach, 0, axis) * taps[0]
        for at, weight in enumerate(taps[1:], 1):
            inside += (_shifted(rows, reach, -at, axis) + _shifted(rows, reach, at, axis)) * weight
        rows = inside
    return rows


def _extremes(rows: Plane, reach: int, window: int) -> tuple[Plane, Plane]:
    """Return the smallest and largest L* in the window around each pixel of the inside of `rows`."""
    darkest = lightest = rows
    for axis in (0, 1):
        dark, light = (_shifted(one, reach, 0, axis).copy() for one in (darkest, lightest))
        for at in range(1, window + 1):
            for shift in (-at, at):
                np.minimum(dark, _shifted(darkest, reach, shift, axis), out=dark)
                np.maximum(light, _shifted(lightest, reach, shift, axis), out=light)
        darkest, lightest = dark, light
    return darkest, lightest


def _shifted(rows: NDArray[Scalar], reach: int, by: int, axis: int) -> NDArray[Scalar]:
    """Return the inside of `rows` along one axis, moved by some pixels."""
    kept = slice(reach + by, rows.shape[axis] - reach + by)
    return rows[kept] if axis == 0 else rows[:, kept]
