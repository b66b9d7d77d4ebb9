"""One frame, decoded once, looked at with every measure there is."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.frames.inspection import colour, exposure, grain, intent, level, sharpness
from pipeline.frames.inspection.as_shot import as_shot
from pipeline.frames.inspection.detail import detail_of
from pipeline.frames.inspection.sameness import likeness_of
from pipeline.frames.inspection.subject import find_subject
from pipeline.frames.inspection.values import Inspection
from pipeline.frames.inspection.view import planes_of, reduced_light
from pipeline.light.box import Region
from pipeline.light.exposure import stops_from_mid_grey
from pipeline.light.smooth import by_area

if TYPE_CHECKING:
    from pipeline.frames.header import Header
    from pipeline.frames.inspection.told import Told
    from pipeline.frames.inspection.values import Proposal
    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Point
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Thresholds

SALIENCY_SIDE = 600
# Pixels, and times as long as wide: smaller or thinner pictures leave nothing to tell a subject from.
SMALLEST, LONGEST_SHAPE = 96, 12
AROUND = 0.15  # of the frame, to each side of a subject that nobody drew a box round


def inspect_frame(header: Header, pixels: Pixels, told: Told, thresholds: Thresholds) -> Inspection:
    """Return all that looking at a frame gives. `told` is what the job says of it."""
    light = reduced_light(pixels)
    detail = detail_of(planes_of(pixels), light)
    proposal, confidence = proposed(light, thresholds)
    keep = _keep(told, proposal)
    tilt, of_level, turn_deg = level.look(detail.lightness, keep, told.view, thresholds)
    scene = exposure.scene_ev(header.camera, stops_from_mid_grey(exposure.mean_luminance(light)))
    looks = (
        exposure.look(pixels, light, keep, header.camera, thresholds, detail.planes),
        colour.look(light, as_shot(header), thresholds),
        sharpness.look_at(detail, keep, told.view, thresholds),
        (tilt, of_level),
        grain.look(pixels, header.camera, thresholds, detail.planes),
        intent.look(header.camera, told, scene, thresholds),
        ({"subject_confidence": confidence}, ()),
    )
    measured = (one for measures, _ in looks for one in measures.items())
    return Inspection(
        measures=tuple((name, float(value)) for name, value in measured if math.isfinite(value)),
        findings=tuple(one for _, findings in looks for one in findings),
        proposal=proposal,
        turn_deg=turn_deg,
        likeness=likeness_of(detail),
    )


def proposed(light: Picture, thresholds: Thresholds) -> tuple[Proposal | None, float]:
    """Return where the subject is, None where that is not sure enough, and the confidence (0..1).

    `light` is the reduced copy in linear sRGB.
    """
    shorter, longer = sorted(light.shape[:2])
    if longer < SMALLEST or longer > LONGEST_SHAPE * shorter:
        return None, 0.0
    found = find_subject(by_area(light, SALIENCY_SIDE))
    return (found if found.confidence >= thresholds["sure_subject"].value else None), found.confidence


def _keep(told: Told, proposal: Proposal | None) -> Region | None:
    """Return the part of the frame that is taken for the subject: the job's box, else the one that was found.

    Where the job points elsewhere, it is what lies around that point.
    """
    if told.keep:
        return told.keep
    if told.subject is None or (proposal and _holds(proposal.keep, told.subject)):
        return proposal.keep if proposal else None
    x, y = told.subject.x, told.subject.y
    return Region(max(x - AROUND, 0.0), max(y - AROUND, 0.0), min(x + AROUND, 1.0), min(y + AROUND, 1.0))


def _holds(region: Region, point: Point) -> bool:
    return region.left <= point.x <= region.right and region.top <= point.y <= region.bottom
