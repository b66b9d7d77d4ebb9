"""Sharpness of a frame: is the subject the sharpest part of it, is all of it in focus, is anything sharp at all."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from pipeline.frames.inspection.places import at
from pipeline.frames.inspection.values import COMMON_PRACTICE, HOUSE_CHOICE, Finding
from pipeline.light.box import Point
from pipeline.light.edge_width import Edges, in_ellipse

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from pipeline.frames.inspection.detail import Detail
    from pipeline.frames.inspection.told import View
    from pipeline.light.box import Region
    from pipeline.light.thresholds import Threshold

# A tenth of the edges decides how sharp a part is: most of a sharp part may be smooth, turned away or in shadow.
SHARPEST = 10.0
FEWEST_EDGES = 12
LEAST_BLUR_PX = 0.7  # what is sharper than that is sharp


@dataclass(frozen=True, slots=True)
class Focus:
    """Blur (Gaussian sigma, original pixels) of the sharpest edges, NaN where there are too few to say.

    `subject` inside the ellipse in the keep box, `rest` outside of it, `best` anywhere; `sharp_share` is the share of
    all edges that are sharp, `count` how many there are; `sharpest_at` is where the sharpest of the rest lie.
    """

    subject: float
    rest: float
    best: float
    sharp_share: float
    count: int
    sharpest_at: Point

    @property
    def ratio(self) -> float:
        """Return how many times wider the subject's edges are than the sharpest elsewhere; NaN where nobody knows."""
        return max(self.subject, LEAST_BLUR_PX) / max(self.rest, LEAST_BLUR_PX)


def look(
    detail: Detail, keep: Region | None, view: View | None, thresholds: Mapping[str, Threshold]
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    """Return measures (finite, by name) and findings of focus. `keep` is None where nobody knows the subject."""
    limit = at_least_px(thresholds, "focus_blur", detail.long_side_px)
    focus = focus_of(detail.edges, keep, limit)
    found = (
        _missed(focus, keep, limit, thresholds),
        _uneven(focus, view, thresholds),
        _soft(focus, detail.long_side_px, thresholds),
    )
    measures = {
        "subject_blur_px": focus.subject,
        "rest_blur_px": focus.rest,
        "best_blur_px": focus.best,
        "focus_ratio": focus.ratio,
        "sharp_share": focus.sharp_share,
        "edges": float(focus.count),
    }
    finite = {name: round(value, 3) for name, value in measures.items() if math.isfinite(value)}
    return finite, tuple(one for one in found if one)


def at_least_px(thresholds: Mapping[str, Threshold], name: str, long_side: int) -> float:
    """Return a blur in pixels: the threshold `name`_px, or the share of the longer side where that is larger."""
    return max(thresholds[f"{name}_px"].value, thresholds[f"{name}_share"].value * long_side)


def focus_of(sharp: Edges, keep: Region | None, limit_px: float) -> Focus:
    """Return how sharp the subject is, and the rest of the frame. A blur up to `limit_px` is sharp."""
    inside = in_ellipse(sharp, keep) if keep else np.zeros(sharp.x.size, dtype=np.bool_)
    rest = _tenth(sharp.sigma_px[~inside])
    few = sharp.only(~inside & (sharp.sigma_px <= rest))
    return Focus(
        subject=_tenth(sharp.sigma_px[inside]),
        rest=rest,
        best=_tenth(sharp.sigma_px),
        sharp_share=float((sharp.sigma_px <= limit_px).mean()) if sharp.x.size else 0.0,
        count=sharp.x.size,
        sharpest_at=Point(float(np.median(few.x)), float(np.median(few.y))) if few.x.size else Point(0.5, 0.5),
    )


def _tenth(values: NDArray[np.float64]) -> float:
    return float(np.percentile(values, SHARPEST)) if values.size >= FEWEST_EDGES else math.nan


def _missed(focus: Focus, keep: Region | None, limit_px: float, thresholds: Mapping[str, Threshold]) -> Finding | None:
    most = thresholds["focus_ratio"].value
    if not (focus.subject > limit_px and focus.ratio >= most):
        return None
    return Finding(
        "focus",
        "fault",
        round(focus.ratio, 2),
        "times",
        most,
        f"The subject is not the sharpest part: its edges are blurred by {focus.subject:.1f} px, "
        f"{focus.ratio:.1f} times as much as the sharpest elsewhere, round {at(focus.sharpest_at)}.",
        "Focus on the front of the dish by hand with the picture enlarged, and take it again.",
        HOUSE_CHOICE,
        keep,
    )


def _uneven(focus: Focus, view: View | None, thresholds: Mapping[str, Threshold]) -> Finding | None:
    least = thresholds["even_focus_share"].value
    if view != "overhead" or focus.count < FEWEST_EDGES or focus.sharp_share >= least:
        return None
    return Finding(
        "even focus",
        "note",
        round(focus.sharp_share, 3),
        "of the edges",
        least,
        f"From straight above all of it should be sharp; here {focus.sharp_share * 100:.0f} % of the edges are.",
        "Stop down to about f/8 or narrower, and see that the camera looks straight down.",
        COMMON_PRACTICE,
    )


def _soft(focus: Focus, long_side: int, thresholds: Mapping[str, Threshold]) -> Finding | None:
    most = at_least_px(thresholds, "soft_blur", long_side)
    if not focus.best > most:
        return None
    return Finding(
        "soft",
        "fault",
        round(focus.best, 2),
        "px",
        round(most, 2),
        f"Nothing in the frame is sharp: the sharpest edges are blurred by {focus.best:.1f} px.",
        "Focus again, with the picture enlarged; look whether the lens is clean.",
        HOUSE_CHOICE,
    )
