"""Grain of a frame: measured in its flattest tiles of original pixels, and held against the ISO of its Exif."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.values import judged
from pipeline.frames.inspection.view import in_light, planes_of
from pipeline.light.cielab import xyz_to_lab
from pipeline.light.noise import flattest, noise, noise_sigmas
from pipeline.light.spaces import SRGB, rgb_to_pcs

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.header import CameraFacts
    from pipeline.frames.inspection.values import Finding
    from pipeline.frames.pixels import Pixels
    from pipeline.light.clipping import Codes
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

TILE, ALONG, ACROSS = 32, 24, 16  # px; tiles along the longer side and the shorter one
LEVELS = 255.0
ROUNDING = 1 / 12  # variance that rounding to whole levels adds
CLIPPED = 0.002  # of a tile's values: one that has more of them at an end has no noise to show
LESS_ISO = "Stand the camera on a tripod and take it at ISO 100 to 200 with a longer shutter time, or give more light."


@dataclass(frozen=True, slots=True)
class Grain:
    """Standard deviation of noise, in encoded levels of 255 and in L*; texture may be part of it where not `flat`."""

    levels: float
    lightness: float
    flat: bool


def look(
    pixels: Pixels, camera: CameraFacts, thresholds: Mapping[str, Threshold], planes: Codes | None = None
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of grain.

    `planes` are all codes (`view.planes_of`) where they are at hand.
    """
    grain = grain_of(pixels, planes)
    found = _found(grain, camera.iso, thresholds)
    measures = {"grain": grain.levels, "grain_lightness": grain.lightness, "grain_is_sure": float(grain.flat)}
    return measures, (found,) if found else ()


def grain_of(pixels: Pixels, planes: Codes | None = None) -> Grain:
    """Return the grain of a frame; none where it is too small for a tile, or clipped all over."""
    tiles = tiles_of(planes_of(pixels) if planes is None else planes)
    if not len(tiles):
        return Grain(0.0, 0.0, flat=False)
    measured = noise(tiles * LEVELS)
    rounding = ROUNDING if pixels.image.format == "uchar" else 0.0
    chosen = in_light(pixels, flattest(tiles))
    lightness = xyz_to_lab(chosen @ rgb_to_pcs(SRGB).T)[..., :1]
    levels = float(np.sqrt(max(measured.sigma**2 - rounding, 0.0)))
    kept = levels / measured.sigma if measured.sigma > 0 else 0.0  # rounding is a part of lightness, too
    return Grain(levels, float(np.median(noise_sigmas(lightness))) * kept, measured.flat)


def tiles_of(planes: Codes) -> Picture:
    """Return tiles from all over the frame that are not clipped: count x 32 x 32 x bands, encoded, 0..1."""
    top = np.iinfo(planes.dtype).max
    bands, height, width = planes.shape
    along, across = (ALONG, ACROSS) if width >= height else (ACROSS, ALONG)
    down, right = _starts(height, across), _starts(width, along)
    found = [planes[:, y : y + TILE, x : x + TILE] for y in down for x in right]
    if not found:
        return np.zeros((0, TILE, TILE, bands))
    tiles = np.stack(found).transpose(0, 2, 3, 1)
    ends = ((tiles == 0) | (tiles == top)).mean(axis=(1, 2, 3))
    return np.asarray(tiles[ends <= CLIPPED] / np.float64(top))


def _starts(length: int, most: int) -> list[int]:
    """Return where tiles start along a side: evenly, not laid over each other."""
    count = min(most, length // TILE)
    return [round(start) for start in np.linspace(0, length - TILE, count)] if count else []


def _found(grain: Grain, iso: int | None, thresholds: Mapping[str, Threshold]) -> Finding | None:
    shows, limit = thresholds["grain_note"], thresholds["iso_note"]
    high = iso is not None and iso >= limit.value
    at_iso = f" at ISO {iso}" if iso else ""
    if grain.flat and grain.levels >= shows.value:
        return judged(
            "grain",
            "note",
            round(grain.levels, 2),
            shows,
            says=f"Grain shows{at_iso}: even surfaces differ by {grain.levels:.1f} of 255 levels from pixel to pixel.",
            advice=LESS_ISO if high else f"{LESS_ISO} Brightening a dark frame afterwards brings it out as well.",
        )
    if high:
        return judged(
            "grain",
            "note",
            float(iso or 0),
            limit,
            says=f"It was taken at ISO {iso}, where grain shows; measured are {grain.levels:.1f} of 255 levels.",
            advice=LESS_ISO,
        )
    return None
