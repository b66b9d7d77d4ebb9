"""Words that IIM cannot hold whole: told once a shoot, for picture desks read IIM, and XMP keeps the whole."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.render.iim import iim_cuts
from pipeline.render.stated import stated

if TYPE_CHECKING:
    from pipeline.plan.rendition import Plan

IIM_FORMATS = {"jpeg", "tiff"}


def cut_words(plan: Plan) -> list[str]:
    """Return one sentence for each fact that is cut in the IIM of any file, with the frames it is cut in."""
    frames: dict[str, dict[str, None]] = {}
    for rendition in plan.renditions:
        if any(output.format in IIM_FORMATS for output in rendition.outputs):
            for fact in iim_cuts(stated(rendition.facts, rendition.policy)):
                frames.setdefault(fact, {})[rendition.frame] = None
    return [
        f"{', '.join(slugs)}: {fact.replace('_', ' ')} is longer than IIM holds and is cut there; XMP keeps it whole"
        for fact, slugs in frames.items()
    ]
