"""Frames that show nearly the same: which are near-duplicates, and how frames of one view differ, in words.

No mark is given: which of two frames is the better one is hers to say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.likeness import NINTHS, Likeness
from pipeline.frames.inspection.places import ninth
from pipeline.light.box import Region
from pipeline.light.fingerprint import bits_apart, fingerprint, grid_of_means
from pipeline.light.islands import heaviest
from pipeline.light.shift import Shift, overlapping, shift_between

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.inspection.detail import Detail
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

SIDE = 96
SHARPEST, FEWEST_EDGES = 10.0, 8
LEAST_BLUR_PX = 0.7  # what is sharper than that is sharp
OTHERWISE = 0.06  # difference in lightness (0..1) beyond what lies beside
DARKEST, BRIGHTEST = 0.05, 0.97  # lightness between which brightness is compared


@dataclass(frozen=True, slots=True)
class Pair:
    """Two frames compared, and how the second differs from the first.

    `apart_bits` is the distance of their hashes (of 64), `likeness` their correlation once laid on each other; `view`
    says that both show one view, `same` that they are near-duplicates. `sharper` is 1 or 2, or 0 where neither clearly
    is; `brighter_ev` says how much brighter the second is. `words` are half-sentences about the second frame; `moved`
    is the place where something is otherwise in it.
    """

    apart_bits: int
    likeness: float
    view: bool = False
    same: bool = False
    sharper: int = 0
    brighter_ev: float = 0.0
    words: tuple[str, ...] = ()
    moved: Region | None = None


def likeness_of(detail: Detail) -> Likeness:
    """Return what is kept of a frame."""
    lightness, sharp = detail.lightness, detail.edges
    height, width = lightness.shape
    scale = min(SIDE / max(height, width), 1.0)
    high, wide = max(round(height * scale), 1), max(round(width * scale), 1)
    levels = np.rint(grid_of_means(np.clip(lightness, 0.0, 1.0), high, wide) * 255).astype(np.uint8)
    part = np.minimum((sharp.y * NINTHS).astype(np.intp), NINTHS - 1) * NINTHS
    part += np.minimum((sharp.x * NINTHS).astype(np.intp), NINTHS - 1)
    masks = [*(part == number for number in range(NINTHS**2)), np.ones(part.shape, dtype=np.bool_)]
    blur = tuple(
        round(max(float(np.percentile(sharp.sigma_px[mask], SHARPEST)), LEAST_BLUR_PX) / detail.long_side_px, 6)
        if np.count_nonzero(mask) >= FEWEST_EDGES
        else None
        for mask in masks
    )
    return Likeness(fingerprint(lightness), wide, high, levels.tobytes(), blur)


def compare(one: Likeness, other: Likeness, thresholds: Mapping[str, Threshold]) -> Pair:
    """Return how alike two frames are, and how the second differs from the first where they show one view."""
    apart = bits_apart(one.fingerprint, other.fingerprint)
    if (one.width, one.height) != (other.width, other.height):
        return Pair(apart, 0.0)
    first, second = one.lightness(), other.lightness()
    shift = shift_between(first, second)
    alike = round(shift.likeness, 3)
    if alike < thresholds["same_view_likeness"].value:
        return Pair(apart, alike)
    here, there = overlapping(first, second, shift.right, shift.down)
    ev = _brighter_ev(here, there)
    moved = _moved(here, there, ev, thresholds["moved_share"].value, shift, first.shape)
    sharper = _sharper(one.blur[-1], other.blur[-1], thresholds["sharper_ratio"].value)
    words = (
        *_sharpness_in_words(one, other, sharper, thresholds),
        *_brightness_in_words(here, there, ev, thresholds["brighter_ev"].value),
        *([f"something is otherwise {_part_of(moved)}"] if moved else []),
    )
    same = apart <= thresholds["same_frame_bits"].value
    return Pair(apart, alike, True, same, sharper, round(ev, 2), words, moved)  # noqa: FBT003 (it is a view)


def _sharper(one: float | None, other: float | None, ratio: float) -> int:
    """Return which of two blurs is clearly the smaller: 1, 2 or 0 for neither."""
    if one is None or other is None:
        return 0
    if other >= one * ratio:
        return 1
    return 2 if one >= other * ratio else 0


def _sharpness_in_words(
    one: Likeness, other: Likeness, all_over: int, thresholds: Mapping[str, Threshold]
) -> list[str]:
    ratio = thresholds["sharper_ratio"].value
    parts = [_sharper(first, second, ratio) for first, second in zip(one.blur[:-1], other.blur[:-1], strict=True)]
    if all_over and all(part in (all_over, 0) for part in parts):
        return ["sharper" if all_over == 2 else "less sharp"]
    found = []
    for which, word in ((2, "sharper"), (1, "less sharp")):
        places = [ninth(*divmod(number, NINTHS)) for number, part in enumerate(parts) if part == which]
        if places:
            found.append(f"{word} {_listed(places)}")
    return found


def _brightness_in_words(one: Picture, other: Picture, ev: float, least: float) -> list[str]:
    found = [f"{'brighter' if ev > 0 else 'darker'} by {abs(ev):.1f} EV"] if abs(ev) >= least else []
    first, second = (grid_of_means(_measurable(one, other) * part, NINTHS, NINTHS) for part in (one, other))
    count = grid_of_means(_measurable(one, other), NINTHS, NINTHS)
    besides = " besides" if found else ""
    for number in range(NINTHS**2):
        row, column = divmod(number, NINTHS)
        if count[row, column] < 0.5:
            continue
        there = 2 * math.log2(max(second[row, column], 1e-3) / max(first[row, column], 1e-3)) - ev
        if abs(there) >= 2 * least:
            word = "brighter" if there > 0 else "darker"
            found.append(f"{word} {ninth(row, column)} by {abs(there):.1f} EV" + besides)
    return found


def _measurable(one: Picture, other: Picture) -> Picture:
    both = (one > DARKEST) & (one < BRIGHTEST) & (other > DARKEST) & (other < BRIGHTEST)
    return both.astype(np.float64)


def _brighter_ev(one: Picture, other: Picture) -> float:
    """Return the median difference in exposure values of what is neither black nor white in both."""
    both = _measurable(one, other) > 0
    if not both.any():
        return 0.0
    return float(2 * np.median(np.log2(other[both] / one[both])))


def _moved(
    one: Picture, other: Picture, ev: float, least: float, shift: Shift, shape: tuple[int, ...]
) -> Region | None:
    """Return the largest place that is otherwise in the second picture, in fractions of it, or None."""
    if min(one.shape) < 3:
        return None
    as_bright = np.clip(one * 2 ** (ev / 2), 0.0, 1.0)
    beyond = np.maximum(_beyond(as_bright, other), _beyond(other, as_bright))
    mask = beyond > OTHERWISE
    if not mask.any():
        return None
    place = heaviest(mask, beyond)
    if place.sum() < least * shape[0] * shape[1]:
        return None
    rows, columns = np.nonzero(place)
    down, right = max(shift.down, 0), max(shift.right, 0)
    return Region(
        float(columns.min() + right) / shape[1],
        float(rows.min() + down) / shape[0],
        float(columns.max() + 1 + right) / shape[1],
        float(rows.max() + 1 + down) / shape[0],
    )


def _beyond(one: Picture, other: Picture) -> Picture:
    """Return how far each value lies outside of what the other picture has there and one pixel around."""
    wide = np.pad(other, 1, mode="edge")
    around = [
        wide[down : down + other.shape[0], right : right + other.shape[1]] for down in range(3) for right in range(3)
    ]
    low, high = np.minimum.reduce(around), np.maximum.reduce(around)
    return np.asarray(np.maximum(np.maximum(one - high, low - one), 0.0))


def _part_of(region: Region) -> str:
    row = min(int((region.top + region.bottom) / 2 * NINTHS), NINTHS - 1)
    column = min(int((region.left + region.right) / 2 * NINTHS), NINTHS - 1)
    return ninth(row, column)


def _listed(places: list[str]) -> str:
    return places[0] if len(places) == 1 else ", ".join(places[:-1]) + " and " + places[-1]
