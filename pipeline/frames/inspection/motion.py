"""What moved while the shutter was open: the camera, the subject, or a thing in it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from pipeline.frames.inspection.places import direction, middle_of
from pipeline.frames.inspection.values import HOUSE_CHOICE, Finding
from pipeline.frames.inspection.view import TILE_SIDE
from pipeline.light.box import WHOLE, Point
from pipeline.light.edge_width import Edges, gradients, in_ellipse
from pipeline.light.motion_blur import NO_STREAK, Streak, streak
from pipeline.light.smear import Smear, smears
from pipeline.light.smooth import by_blocks

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from pipeline.frames.inspection.detail import Detail
    from pipeline.light.box import Region
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

TILES, SUBJECT_TILES, FEWEST_TILES, MOST_STEPS = 12, 6, 4, 10
DETAIL_SIDE = 375
BOX_SIGMA = math.sqrt(12)  # length of a line over the standard deviation of places on it
# A quarter of the edges across a streak may be narrower than so much of its blur (points and lines leave sharp ends).
SHARP_ENDS, OF_STREAK, FEWEST_CROSSED = 25.0, 0.16, 5
STILL = 0.5  # of the width inside: what is so much sharper around did not move
# Of smears: with fewer edges amid sharp ones it is a blurred background, blurred all ways a thing before the focus.
LEAST_AMID, LEAST_ONE_WAY = 0.7, 0.8


def look(
    detail: Detail, keep: Region | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of motion. `keep` is None where nobody knows the subject."""
    everywhere, subject = streaks(detail, keep, thresholds)
    smeared = smears(detail.light, keep, detail.edges, detail.long_side_px) if keep else ()
    moved = tuple(one for one in smeared if one.amid_sharp >= LEAST_AMID and one.one_way >= LEAST_ONE_WAY)
    found = _shaken(everywhere, subject, detail, keep, thresholds) or _smeared(moved, detail.long_side_px, thresholds)
    measures = {
        "streak_px": everywhere.length_px,
        "streak_deg": everywhere.angle_deg,
        "streak_prominence": everywhere.prominence,
        "subject_streak_px": subject.length_px,
        "smear_extent": moved[0].extent if moved else 0.0,
        "smear_blur_px": moved[0].sigma * detail.long_side_px if moved else 0.0,
        "smear_deg": moved[0].across_deg if moved else 0.0,
    }
    return {name: round(value, 3) for name, value in measures.items()}, (found,) if found else ()


def streaks(detail: Detail, keep: Region | None, thresholds: Mapping[str, Threshold]) -> tuple[Streak, Streak]:
    """Return the blur along a line of the most detailed parts of the frame, and of the subject.

    NO_STREAK where it does not show clearly enough to be spoken of.
    """
    clear, deep = thresholds["shake_prominence"].value, thresholds["shake_depth"].value
    found = []
    for region, count in ((WHOLE, TILES), (keep, SUBJECT_TILES)):
        places = _most_detailed(detail, region, count) if region else []
        one = streak([_tile(detail.planes, place) for place in places]) if len(places) >= FEWEST_TILES else NO_STREAK
        found.append(one if one.prominence >= clear and one.depth >= deep else NO_STREAK)
    return found[0], found[1]


def _tile(planes: NDArray[Any], place: Point) -> Picture:
    """Return light of the square of original pixels round a place, moved or cut to lie inside the frame.

    Which curve makes light of codes hardly matters to a cepstrum: a square is near enough to all of them.
    """
    bands, height, width = planes.shape
    high, wide = min(TILE_SIDE, height), min(TILE_SIDE, width)
    top = min(max(round(place.y * height - high / 2), 0), height - high)
    left = min(max(round(place.x * width - wide / 2), 0), width - wide)
    codes = planes[:, top : top + high, left : left + wide].sum(axis=0, dtype=np.uint32)
    return np.asarray((codes / (bands * np.iinfo(planes.dtype).max)) ** 2, dtype=np.float64)


def _most_detailed(detail: Detail, region: Region, count: int) -> list[Point]:
    """Return the middles of the `count` parts of a region, about a tile large, that have the most detail."""
    size = detail.planes.shape[1:]
    down = _steps((region.bottom - region.top) * size[0])
    right = _steps((region.right - region.left) * size[1])
    power = np.hypot(*gradients(by_blocks(detail.lightness, DETAIL_SIDE))) ** 2
    places = [
        Point(
            region.left + (region.right - region.left) * (column + 0.5) / right,
            region.top + (region.bottom - region.top) * (row + 0.5) / down,
        )
        for row in range(down)
        for column in range(right)
    ]
    half = TILE_SIDE / 2 / size[1], TILE_SIDE / 2 / size[0]
    return sorted(places, key=lambda place: -_energy(power, place, half))[:count]


def _steps(length_px: float) -> int:
    """Return how many tiles are laid along a length: they overlap by about a third where it is short."""
    return min(max(math.ceil(1.5 * length_px / TILE_SIDE), 1), MOST_STEPS)


def _energy(power: Picture, place: Point, half: tuple[float, float]) -> float:
    height, width = power.shape
    top, left = max(int((place.y - half[1]) * height), 0), max(int((place.x - half[0]) * width), 0)
    bottom, right = math.ceil((place.y + half[1]) * height), math.ceil((place.x + half[0]) * width)
    return float(power[top : max(bottom, top + 1), left : max(right, left + 1)].mean())


def _shaken(
    everywhere: Streak,
    subject: Streak,
    detail: Detail,
    keep: Region | None,
    thresholds: Mapping[str, Threshold],
) -> Finding | None:
    """Return the finding of blur along a line: of the camera, or of the subject alone.

    Edges across the streak are at least as wide as it leaves them, else it is a pattern: its cepstrum has minima too.
    """
    one = everywhere if everywhere is not NO_STREAK else subject
    inside = in_ellipse(detail.edges, keep) if keep else np.ones(detail.edges.x.size, dtype=np.bool_)
    width, width_around = (_across(one, detail.edges.only(part)) for part in (inside, ~inside))
    if one is NO_STREAK or width < OF_STREAK * one.length_px / BOX_SIGMA:
        return None
    if width_around < STILL * width:
        return _of_streak(one, "motion", detail.long_side_px, keep, thresholds)
    return _of_streak(one, "shake", detail.long_side_px, None, thresholds)


def _across(one: Streak, among: Edges) -> float:
    """Return how wide the edges across a streak are, but for the sharpest quarter; NaN where there are too few."""
    turn = np.radians(one.angle_deg)
    crossed = np.abs(among.across_x * np.cos(turn) + among.across_y * np.sin(turn)) > np.cos(np.pi / 6)
    if np.count_nonzero(crossed) < FEWEST_CROSSED:
        return math.nan
    return float(np.percentile(among.sigma_px[crossed], SHARP_ENDS))


def _of_streak(
    one: Streak,
    rule: Literal["shake", "motion"],
    long_side: int,
    where: Region | None,
    thresholds: Mapping[str, Threshold],
) -> Finding:
    least = thresholds["shake_length_share"].value * long_side
    by = f"smeared by {one.length_px:.0f} px {direction(one.angle_deg)}"
    if rule == "shake":
        says = f"All of the frame is {by}: the camera moved."
        advice = "Take it again from a tripod with a self-timer or a remote release, or with a shorter shutter time."
    else:
        says = f"The subject is {by}, while what lies around it is sharp: it moved."
        advice = "Take it again with a shorter shutter time, or hold the subject still."
    return Finding(
        rule=rule,
        level="fault" if one.length_px >= least else "note",
        number=round(one.length_px, 1),
        unit="px",
        threshold=round(least, 1),
        says=says,
        advice=advice,
        source=HOUSE_CHOICE,
        where=where,
    )


def _smeared(moved: tuple[Smear, ...], long_side: int, thresholds: Mapping[str, Threshold]) -> Finding | None:
    """Return the finding of the longest thing that is smeared amid sharp ones, if there is one.

    An edge tells only of the part of a motion that goes across it: that is the least it can have been.
    """
    longest, widest = thresholds["smear_extent"].value, thresholds["smear_blur_share"].value
    one = next((one for one in moved if one.extent >= longest and one.sigma >= widest), None)
    if one is None:
        return None
    length = one.sigma * long_side * BOX_SIGMA
    return Finding(
        rule="motion",
        level="fault",
        number=round(length, 1),
        unit="px",
        threshold=round(widest * long_side * BOX_SIGMA, 1),
        says=f"Something is smeared at {middle_of(one.where)}, by at least {length:.0f} px, "
        "while what lies on both sides of it is sharp: it moved, or it stands far in front of the focus.",
        advice="Take it again with a shorter shutter time (1/60 s at the most for a pour), or hold the thing still.",
        source=HOUSE_CHOICE,
        where=one.where,
    )
