"""Is the frame level, and an overhead one plumb? By the line of the table, else by the rim of the dish."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.frames.inspection.values import COMMON_PRACTICE, HOUSE_CHOICE, Finding
from pipeline.light.level_lines import Line, level_lines
from pipeline.light.plate_rim import Rim, plate_rim
from pipeline.light.smooth import by_blocks

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.inspection.told import View
    from pipeline.light.box import Region
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

MAP_SIDE = 750
ENDS_FILLED = 0.4  # of the outer fifth of the width on either side
AGREE_DEG = 0.7
# A handmade rim is out of round by about so much, which leans a tilted view of it; a lens of about 72 mm (full frame).
OUT_OF_ROUND = 0.03
FOCAL = 2.0  # in longer sides of the frame
LEAN_UNSURE = 0.5  # how far off the lean may be for want of the true focal length
STEEPEST_DEG = 10.0  # nobody tilts a camera farther by mistake
ROUNDEST, OVAL = 0.9, 0.75  # short over long axis: rounder has no direction; flatter from above is an oval dish
LONG_LINE, FAR_APART, PARALLEL_DEG = 0.3, 0.25, 6.0


@dataclass(frozen=True, slots=True)
class Tilt:
    """How far a frame leans (degrees, clockwise), give or take `unsure_deg`, and by what it was told."""

    deg: float
    unsure_deg: float
    by: str


def look(
    lightness: Picture, keep: Region | None, view: View | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...], float | None]:
    """Return measures (finite, by name), findings, and the turn (`turn_deg`, positive clockwise) that levels the frame.

    `lightness` is the square root of linear luminance, 0..1, height x width. The turn is None where the frame is level
    within the threshold, or nothing tells.
    """
    small = by_blocks(lightness, MAP_SIDE)
    rim = plate_rim(small, keep) if keep else None
    if view == "overhead":
        measures, findings = _plumb(small, rim, thresholds)
        return measures, findings, None
    lines = level_lines(small)
    tilt = tilt_of(lines, rim, small.shape, thresholds)
    measures = {"line_filled": round(lines[0].filled, 3) if lines else 0.0}
    if tilt is None:
        return measures, (), None
    measures |= {"tilt_deg": round(tilt.deg, 2), "tilt_unsure_deg": round(tilt.unsure_deg, 2)}
    most = thresholds["tilt_deg"].value
    if abs(tilt.deg) < most + tilt.unsure_deg:
        return measures, (), None
    turn = -round(tilt.deg, 1)
    return measures, (_leaning(tilt, turn, most),), turn


def tilt_of(
    lines: tuple[Line, ...], rim: Rim | None, shape: tuple[int, ...], thresholds: Mapping[str, Threshold]
) -> Tilt | None:
    """Return the tilt by lines that run on to both sides and agree, else by the rim; None where nothing tells."""
    filled = thresholds["table_line_filled"].value
    long = [line for line in lines if line.filled >= filled and line.filled_ends >= ENDS_FILLED]
    if long:
        deg = long[0].tilt_deg
        agree = all(abs(line.tilt_deg - deg) <= AGREE_DEG for line in long)
        return Tilt(deg, 0.0, "the line of the table") if agree else None
    if not rim or rim.agreed < thresholds["rim_agreed"].value:
        return None
    ellipse = rim.ellipse
    flat = ellipse.short / ellipse.long
    if flat > ROUNDEST:
        return None
    pitch = math.asin(flat)
    lean = math.degrees(math.atan((ellipse.x - shape[1] / 2) * math.tan(pitch) / (FOCAL * max(shape))))
    unsure = math.degrees(OUT_OF_ROUND * flat / (1 - flat**2)) + LEAN_UNSURE * abs(lean)
    tilt = Tilt(ellipse.tilt_deg - lean, unsure, "the rim of the dish")
    return tilt if abs(tilt.deg) <= STEEPEST_DEG else None


def _leaning(tilt: Tilt, turn: float, most: float) -> Finding:
    side = "right" if tilt.deg > 0 else "left"
    about = f"{abs(tilt.deg):.1f} degrees" if not tilt.unsure_deg else f"about {abs(tilt.deg):.0f} degrees"
    return Finding(
        "level",
        "fault" if not tilt.unsure_deg else "note",
        round(tilt.deg, 2),
        "degrees",
        round(most + tilt.unsure_deg, 2),
        f"The frame leans: by {tilt.by}, its {side} side is lower, by {about}.",
        f"Write turn_deg = {turn:g} for this frame.",
        COMMON_PRACTICE if not tilt.unsure_deg else HOUSE_CHOICE,
    )


def _plumb(
    small: Picture, rim: Rim | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return what lines that run together and rims that look oval say of an overhead frame."""
    measures, findings = {}, []
    upright = small.T.copy()
    apart = [value for value in (_converging(level_lines(one)) for one in (small, upright)) if value is not None]
    if apart:
        measures["converging_deg"] = round(max(apart), 2)
        most = thresholds["converging_deg"].value
        if max(apart) > most:
            findings.append(
                Finding(
                    "plumb",
                    "note",
                    round(max(apart), 2),
                    "degrees",
                    most,
                    f"Lines that should run side by side converge by {max(apart):.1f} degrees: "
                    "the camera does not look straight down, or they belong to different things.",
                    "Level the camera over the table with a spirit level.",
                    HOUSE_CHOICE,
                )
            )
    if rim and rim.agreed >= thresholds["rim_agreed"].value and rim.ellipse.short >= OVAL * rim.ellipse.long:
        off = math.degrees(math.acos(min(rim.ellipse.short / rim.ellipse.long, 1.0)))
        measures |= {"off_plumb_deg": round(off, 1), "rim_agreed": round(rim.agreed, 3)}
        most = thresholds["off_plumb_deg"].value
        if off > most:
            findings.append(
                Finding(
                    "plumb",
                    "note",
                    round(off, 1),
                    "degrees",
                    most,
                    f"The dish looks oval, as a round one does {off:.0f} degrees off straight down "
                    f"({rim.agreed * 100:.0f} % of its rim seen).",
                    "Level the camera over the table with a spirit level; leave it if the dish is oval.",
                    HOUSE_CHOICE,
                )
            )
    return measures, tuple(findings)


def _converging(lines: tuple[Line, ...]) -> float | None:
    """Return the angle between the two fullest long lines that are far apart and nearly parallel, if there are two."""
    long = [line for line in lines if line.filled >= LONG_LINE]
    for index, one in enumerate(long):
        for other in long[index + 1 :]:
            between = abs(one.tilt_deg - other.tilt_deg)
            if abs(one.y - other.y) >= FAR_APART and between <= PARALLEL_DEG:
                return between
    return None
