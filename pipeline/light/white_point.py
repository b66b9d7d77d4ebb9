"""Which colour the light had, from the picture alone: what white and grey things look like in it.

No single surface can be trusted: a dish may fill the frame and be orange in any light. So each plausible light (along
the Planckian locus and beside it) is asked for its support: over how much of the frame is something of just its colour,
as grey cloth, paper, rims and walls would be under it? Where white itself has support, the light was white, whatever
else there is. Where it has none, the best supported light is believed as far as the brightest places, which mirror the
light and are seldom coloured, agree with it, as no large part of the picture speaks against it, and as what has that
colour is bright enough to be white things. In blue light wood, bread and skin look white, so there the brightest
places decide.

Pictures are linear sRGB, float64, height x width x 3; shifts are differences of u', v' (CIE 1976) from those of the
picture's white. All scales are house choices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.chromaticity import uv_1976, white_uv
from pipeline.light.colour_temperature import beside_planckian
from pipeline.light.smooth import by_blocks, finite
from pipeline.light.spaces import D65, SRGB, rgb_to_xyz

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.smooth import Picture
    from pipeline.light.transfer import Values

SIDE = 128  # px of the copy that is looked at
ACROSS, DOWN = 8, 6  # fields of the frame
RADIUS = 0.015  # in u', v': things of so similar a colour are of one colour
LIKE = 0.002  # in u', v': counted as one colour
CLOSER = 1e-3  # of support, for a light that all colours are just those of
ENOUGH = 0.10  # of a field: what more there is of a colour adds nothing
DARKEST, BRIGHTEST = 0.01, 0.97  # Y, and any channel: beyond them colours are noise, or clipped
GLINTS = 0.02  # of the pixels: the brightest
BRIGHT = 0.66  # of the pixels are too dark to tell what colour the light has: leaves, shadows
MIREDS = (70.0, 505.0, 10.0)  # from blue sky to candle light
DUVS = (-0.015, -0.0075, 0.0, 0.0075, 0.015)
COOL = 0.02  # in v': the brightest places are bluer than a white thing can be in white light
AGAINST, MOST_AGAINST = 1 / 3, 0.25  # of a light's shift, and of the picture that does not come so far along it
WHITE_IS_THERE = 0.12  # of support: from here on the light was white
SURE = 0.30  # of support


@dataclass(frozen=True, slots=True)
class WhitePoint:
    """How far the light lies from the picture's white, and how far that can be believed (0..1).

    `u` and `v` are the shift. 0.02 is daylight of 5000 K in a picture whose white is 6500 K, 0.08 an incandescent bulb.
    """

    u: float
    v: float
    confidence: float

    @property
    def distance(self) -> float:
        """Return how far it is."""
        return float(np.hypot(self.u, self.v))

    @property
    def degrees(self) -> float:
        """Return in which direction it is, 0..360: about 45 orange, 140 green, 250 blue, 320 pink."""
        return float(np.degrees(np.arctan2(self.v, self.u)) % 360)


def white_point(light: Picture) -> WhitePoint:
    """Return the white point of a picture; no confidence where too little can be seen in it."""
    light = np.clip(by_blocks(finite(light), SIDE), 0.0, None)
    xyz = light @ rgb_to_xyz(SRGB).T
    luminance = xyz[..., 1]
    seen = (luminance > DARKEST) & (light.max(axis=-1) < BRIGHTEST)
    if not seen.any():
        return WhitePoint(0.0, 0.0, 0.0)
    shifts, fields = (uv_1976(xyz) - white_uv(D65))[seen], _fields(seen.shape)[seen]
    glints = np.median(shifts[luminance[seen] >= np.quantile(luminance[seen], 1 - GLINTS)], axis=0)
    sizes = np.bincount(_fields(seen.shape).ravel(), minlength=ACROSS * DOWN)
    white = _support(shifts, fields, sizes, np.zeros(2))
    is_cool = float(glints[1]) < -COOL
    if white >= WHITE_IS_THERE and not is_cool:
        return _white_point(shifts, np.zeros(2), min(white / SURE, 1.0))
    lights = _lights()
    bright = luminance[seen] >= np.quantile(luminance[seen], BRIGHT)
    best, support = _best_supported(shifts[bright], fields[bright], sizes, lights)
    found = _white_point(shifts, best, min(support / SURE, 1.0))
    doubts = _agreement(glints, best)
    if not is_cool:
        doubts *= (1 - white / WHITE_IS_THERE) * _consent(shifts, best)
    middle = np.array([found.u, found.v])
    doubts *= _like_white(luminance[seen], _is_near(shifts, middle), middle)
    return replace(found, confidence=found.confidence * doubts)


def _white_point(shifts: Values, about: Values, confidence: float) -> WhitePoint:
    """Return the mean shift of what lies about a light."""
    near = _is_near(shifts, about)
    u, v = shifts[near].mean(axis=0) if near.any() else (0.0, 0.0)
    return WhitePoint(float(u), float(v), float(confidence))


def _support(shifts: Values, fields: NDArray[np.intp], sizes: NDArray[np.intp], light: Values) -> float:
    """Return over how much of the frame (0..1) something is of a light's colour."""
    counts = np.bincount(fields[_is_near(shifts, light)], minlength=len(sizes))
    return float(_share_of_fields(counts, sizes))


def _best_supported(
    shifts: Values, fields: NDArray[np.intp], sizes: NDArray[np.intp], lights: Values
) -> tuple[Values, float]:
    """Return the light with most support, and how much; of those with as much, the one that colours lie closest to.

    Like colours are counted together.
    """
    steps = np.rint(shifts / LIKE).astype(np.int64)
    _, first, kind = np.unique(steps[:, 0] * (1 << 20) + steps[:, 1], return_index=True, return_inverse=True)
    counts = np.bincount(kind * len(sizes) + fields, minlength=len(first) * len(sizes)).reshape(len(first), len(sizes))
    colours = steps[first] * LIKE
    u, v = (lights[:, axis, None] - colours[:, axis] for axis in (0, 1))
    close = np.maximum(1 - (u * u + v * v) / RADIUS**2, 0.0)
    supports = _share_of_fields((close > 0).astype(np.float64) @ counts, sizes)
    best = int((supports + CLOSER * (close @ counts.sum(axis=1)) / max(len(shifts), 1)).argmax())
    return lights[best], float(supports[best])


def _share_of_fields(counts: NDArray[Any], sizes: NDArray[np.intp]) -> Values:
    """Return the mean over all fields of how far what was counted there is enough."""
    there = sizes > 0
    shares = np.minimum(counts[..., there] / np.maximum(ENOUGH * sizes[there], 1), 1.0)
    return np.asarray(shares.mean(axis=-1), dtype=np.float64)


def _is_near(shifts: Values, about: Values) -> NDArray[np.bool_]:
    u, v = shifts[:, 0] - about[0], shifts[:, 1] - about[1]
    return np.asarray(u * u + v * v < RADIUS * RADIUS)


def _agreement(glints: Values, light: Values) -> float:
    """Return 0..1: how far the brightest places have the light's colour, half of whose shift they need."""
    length = float(light @ light)
    return min(max(2 * float(glints @ light) / length, 0.0), 1.0) if length > 0 else 0.0


def _consent(shifts: Values, light: Values) -> float:
    """Return 1, less where a part of the picture has colours that would be too strong for things in that light.

    Things differ from the light's colour to all sides, but what is far on its other side would have to be very
    colourful: foliage beside a yellow flower shows that the light was not yellow.
    """
    length = float(light @ light)
    against = float((shifts @ light < AGAINST * length).mean()) if length > 0 else 0.0
    return max(1 - against / MOST_AGAINST, 0.0)


def _like_white(luminance: Values, near: NDArray[np.bool_], light: Values) -> float:
    """Return 0..1: whether what has the light's colour may be white things in it, or is rather a wooden table.

    The brightest of it must come near to what white gives, and where it fills the frame most of it must be bright.
    """
    if not near.any():
        return 0.0
    bright, brightest = np.quantile(luminance[near], (0.9, 0.98)) / _white_luminance(light)
    fills = float(near.mean())
    enough = _ramp(brightest, 0.35, 0.55)
    return enough * max(_ramp(bright, 0.4, 0.6), 1 - _ramp(fills, 0.75, 0.9))


def _white_luminance(light: Values) -> float:
    """Return the luminance of the brightest colour that has a light's chromaticity."""
    u, v = white_uv(D65) + light
    xyz = np.array([9 * u / (4 * v), 1.0, (12 - 3 * u - 20 * v) / (4 * v)])
    return float(1 / (np.linalg.inv(rgb_to_xyz(SRGB)) @ xyz).max())


def _ramp(value: float, start: float, end: float) -> float:
    """Return 0 up to `start`, 1 from `end` on, and straight between."""
    return float(min(max((value - start) / (end - start), 0.0), 1.0))


def _fields(shape: tuple[int, ...]) -> NDArray[np.intp]:
    """Return for each pixel the number of its field, in rows."""
    height, width = shape
    down = np.arange(height) * DOWN // height
    return np.asarray(down[:, None] * ACROSS + np.arange(width) * ACROSS // width, dtype=np.intp)


@cache
def _lights() -> Values:
    """Return the shifts of the lights that are thought of."""
    kelvins = 1e6 / np.arange(*MIREDS)
    uv = np.concatenate([beside_planckian(kelvins, duv) for duv in DUVS])
    return np.asarray(uv * np.array([1.0, 1.5]) - white_uv(D65), dtype=np.float64)
