"""Sharpness of a frame, all of it: focus, and what moved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.frames.inspection import focus, motion
from pipeline.frames.inspection.detail import Detail, detail_of, light_to_lightness

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from pipeline.frames.inspection.told import View
    from pipeline.frames.inspection.values import Finding
    from pipeline.light.box import Region
    from pipeline.light.smooth import Picture
    from pipeline.light.thresholds import Threshold

__all__ = ["light_to_lightness", "look", "look_at"]


def look(
    planes: NDArray[Any], light: Picture, keep: Region | None, view: View | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of sharpness.

    `planes` are the original pixels (`view.planes_of`), `light` is the reduced copy (`view.reduced_light`); `keep` is
    None where nobody knows the subject.
    """
    return look_at(detail_of(planes, light), keep, view, thresholds)


def look_at(
    detail: Detail, keep: Region | None, view: View | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return the same of a frame whose edges are known already.

    Where the camera shook, nothing is said of focus: all that is wrong with it has that one cause.
    """
    moved, of_motion = motion.look(detail, keep, thresholds)
    focused, of_focus = focus.look(detail, keep, view, thresholds)
    shaken = any(one.rule == "shake" and one.level == "fault" for one in of_motion)
    return focused | moved, of_motion if shaken else (*of_focus, *of_motion)
