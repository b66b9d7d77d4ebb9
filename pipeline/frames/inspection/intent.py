"""How a frame was taken against what its view and intent want: common practice of the trade, from Exif alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from pipeline.frames.inspection.taken import Taken, shutter, taken
from pipeline.frames.inspection.values import judged

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.frames.header import CameraFacts
    from pipeline.frames.inspection.told import Told
    from pipeline.frames.inspection.values import Finding
    from pipeline.light.thresholds import Threshold

STOOD = "If it stood on a tripod, say so: tripod = true."
NEARLY = 1.04  # cameras round: 1/60 s and f/8 are powers of the root of two


def look(
    camera: CameraFacts, told: Told, scene_ev: float | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of how the frame was taken.

    `scene_ev` is how much light there was (`exposure.scene_ev`), None where the Exif does not say.
    """
    facts = taken(camera)
    found = (
        *_aperture(facts, told, thresholds),
        *_depth(facts, told, thresholds),
        *_action(facts, told, thresholds),
        *_held(facts, told, thresholds),
        *_sun(scene_ev, thresholds),
    )
    return _measures(facts), found


def _aperture(facts: Taken, told: Told, thresholds: Mapping[str, Threshold]) -> Iterator[Finding]:
    """Ask for even focus straight down, and for a shallow field from the side."""
    even, shallow = thresholds["overhead_f_number"], thresholds["side_f_number"]
    if facts.f_number is None or told.view is None:
        return
    if told.view == "overhead" and facts.f_number * NEARLY < even.value:
        yield judged(
            "aperture",
            "note",
            facts.f_number,
            even,
            says=f"From straight above all of it should be in focus; it was taken at f/{facts.f_number:g}.",
            advice=f"Stop down to about f/{even.value:g} or narrower, with the camera on a tripod.",
        )
    if told.view != "overhead" and facts.f_number > shallow.value * NEARLY:
        yield judged(
            "aperture",
            "note",
            facts.f_number,
            shallow,
            says=f"At f/{facts.f_number:g} the background is as sharp as the dish.",
            advice="From the side a shallow field looks better: open up to about f/2.8 to f/5.6 and focus on the front "
            "of the dish.",
        )


def _depth(facts: Taken, told: Told, thresholds: Mapping[str, Threshold]) -> Iterator[Finding]:
    """Ask that what is sharp reaches over the dish: from above over its height, from the side over its front."""
    depth = facts.depth
    limit = thresholds["overhead_depth_mm" if told.view == "overhead" else "side_depth_mm"]
    if depth is None or told.view is None or depth.total >= limit.value:
        return
    yield judged(
        "depth of field",
        "note",
        round(depth.total, 1),
        limit,
        says=f"At f/{facts.f_number:g} and this distance only {depth.total:.0f} mm are sharp.",
        advice="Stop down, or step back and crop; from the side, see that the front of the dish is within it.",
    )


def _action(facts: Taken, told: Told, thresholds: Mapping[str, Threshold]) -> Iterator[Finding]:
    """Ask that a pour, a hand, a sprinkle is neither smeared nor frozen."""
    slowest, frozen = thresholds["action_smears_s"], thresholds["action_freezes_s"]
    if facts.exposure_s is None or not told.action:
        return
    if facts.exposure_s > slowest.value * NEARLY:
        yield judged(
            "slow for action",
            "fault",
            facts.exposure_s,
            slowest,
            says=f"At {shutter(facts.exposure_s)} a pour or a moving hand smears.",
            advice=f"Take it at {shutter(slowest.value)} or shorter: open the aperture or raise the ISO.",
        )
    elif facts.exposure_s <= frozen.value * NEARLY:
        yield judged(
            "freezes action",
            "note",
            facts.exposure_s,
            frozen,
            says=f"At {shutter(facts.exposure_s)} a pour stands still, each drop for itself.",
            advice="Where it should flow, take it at 1/125 s to 1/250 s.",
        )


def _held(facts: Taken, told: Told, thresholds: Mapping[str, Threshold]) -> Iterator[Finding]:
    """Ask for a tripod where a hand does not hold still for so long."""
    tripod_only, times = thresholds["tripod_only_s"], thresholds["hand_held_times"]
    seconds, steady = facts.exposure_s, facts.hand_held_s
    if seconds is None or told.tripod:
        return
    if seconds * NEARLY >= tripod_only.value:
        yield judged(
            "tripod",
            "note",
            seconds,
            tripod_only,
            says=f"At {shutter(seconds)} only a tripod will do.",
            advice=f"{STOOD} If not, use one, with a self-timer.",
        )
    elif steady is not None and seconds > steady * times.value * NEARLY:
        yield judged(
            "hand-held",
            "note",
            round(seconds / steady, 2),
            times,
            says=f"{shutter(seconds)} is longer than a hand holds still at this focal length: {shutter(steady)}.",
            advice=f"{STOOD} If not, look at it enlarged, and use one next time.",
        )


def _sun(scene_ev: float | None, thresholds: Mapping[str, Threshold]) -> Iterator[Finding]:
    """Tell direct sun by how much light there was."""
    limit = thresholds["direct_sun_ev"]
    if scene_ev is None or scene_ev < limit.value:
        return
    yield judged(
        "direct sun",
        "note",
        round(scene_ev, 1),
        limit,
        says=f"By its Exif there was light of EV {scene_ev:.1f} at ISO 100, as in direct sun: "
        "shadows turn harsh and highlights burn out.",
        advice="Hang a thin white cloth between sun and dish, stand a white card opposite to lift the shadows, "
        "or take another time of day.",
    )


def _measures(facts: Taken) -> dict[str, float]:
    depth = facts.depth
    measures = {
        "f_number": facts.f_number,
        "exposure_s": facts.exposure_s,
        "iso": facts.iso,
        "ev_100": facts.ev_100,
        "hand_held_s": facts.hand_held_s,
        "depth_near_mm": depth.near if depth else None,
        "depth_far_mm": depth.far if depth else None,
    }
    return {name: value for name, value in measures.items() if value is not None and math.isfinite(value)}
