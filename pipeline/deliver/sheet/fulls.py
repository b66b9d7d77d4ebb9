"""Which file shows a rendition at 100 %, one picture pixel a CSS pixel."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.plan.files import SHOWN_BY_BROWSERS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Output, Plan, Rendition

_ORDER = ("jpeg", "png", "webp")


def fulls(plan: Plan, made: Mapping[str, Made]) -> dict[str, Output]:
    """Return for each rendition the largest file in `made` that every browser shows, by the rendition's name.

    Where it has none such (a page for the printer), its JPEG of the same size; where neither is made yet, nothing; and
    nothing of what still waits for an approval.
    """
    found = ((rendition.name, _full(rendition, made)) for rendition in plan.renditions if not rendition.waits)
    return {name: output for name, output in found if output}


def _full(rendition: Rendition, made: Mapping[str, Made]) -> Output | None:
    largest = max((output.size.pixels for output in rendition.outputs), default=0)
    shown = rendition.settings.channels < 4  # CMYK: browsers differ in what they make of it
    own = [one for one in rendition.outputs if shown and one.format in SHOWN_BY_BROWSERS]
    own += [one for one in (rendition.full, rendition.preview) if one and one.size.pixels == largest]
    there = [one for one in own if one.path in made]
    return min(there, key=lambda one: (-one.size.pixels, _ORDER.index(one.format)), default=None)
