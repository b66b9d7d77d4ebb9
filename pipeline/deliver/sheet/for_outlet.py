"""The plan as one outlet may see it: its own targets, and nothing that is the photographer's alone.

What is taken out here cannot be shown by mistake: cautions, refusals, camera facts, places on disk, keep boxes and
notes are no longer in the values that the page is built from.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.frames.header import Header
from pipeline.job.kept_names import FOR_OUTLET, SHEET_FOLDER
from pipeline.plan.files import SCREEN_PPI, SMALL_WHOLE_SIDE
from pipeline.plan.rendition import Output

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.light.box import Size
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition


FOR_OUTLETS = f"{SHEET_FOLDER}/{FOR_OUTLET}"


def folder_of(outlet: str) -> str:
    """Return where the sheet of an outlet stands below the output folder."""
    return f"{FOR_OUTLETS}{outlet}"


def outlet_plan(plan: Plan, outlet: str) -> Plan:
    """Return the frames and renditions that are made for an outlet, each frame with the whole picture it may see.

    The whole frame is at most 800 px, and carries the mark where one of the renditions shown does. Refused renditions
    are left out, and frames that have no other.
    """
    frames = []
    for frame in plan.frames:
        shown = tuple(one for one in frame.renditions if one.outlet == outlet and one.refused is None)
        if shown:
            frames.append(replace(frame, renditions=shown, whole=_whole(frame, shown, outlet)))
    return replace(plan, frames=tuple(frames))


def without_private(plan: Plan) -> Plan:
    """Return an outlet's plan without anything that is not for the outlet's eyes, to build its page from."""
    return replace(
        plan,
        job=Path("job"),
        post_url=None,
        pictures_url=None,
        frames=tuple(_public_frame(frame) for frame in plan.frames),
    )


def facts_for(shown: Sequence[Rendition]) -> PictureFacts:
    """Return the facts that the strictest of these renditions states: a proof's, where there is one."""
    return next((one.facts for one in shown if one.policy == "proof"), shown[0].facts)


def _whole(frame: PlannedFrame, shown: Sequence[Rendition], outlet: str) -> Rendition:
    whole = frame.whole
    mark = next((one.settings.mark for one in shown if one.settings.mark), None)
    size = at_most(whole.crop.box.size, SMALL_WHOLE_SIDE)
    return replace(
        whole,
        target=f"whole-for-{outlet}",
        settings=replace(whole.settings, mark=mark),
        policy="proof" if any(one.policy == "proof" for one in shown) else "public",
        facts=facts_for(shown),
        preview=Output(size, "jpeg", f"{folder_of(outlet)}/whole/{frame.slug}.jpg", SCREEN_PPI),
        small=None,
    )


def at_most(size: Size, side: int) -> Size:
    """Return a size whose longer side is at most `side`, in the same shape."""
    scale = min(1.0, side / max(size.width, size.height))
    return type(size)(max(1, round(size.width * scale)), max(1, round(size.height * scale)))


def _public_frame(frame: PlannedFrame) -> PlannedFrame:
    return replace(
        frame,
        file=frame.slug,
        path=Path(frame.slug),
        header=_bare(frame.header, frame.slug),
        keep=None,
        step=None,
        facts=facts_for(frame.renditions),
        renditions=tuple(_public_rendition(one) for one in frame.renditions),
        cautions=(),
        origins=(),
        notes=(),
    )


def _public_rendition(rendition: Rendition) -> Rendition:
    two = rendition.beside
    beside = replace(two, file=two.frame, header=_bare(two.header, two.frame)) if two else None
    return replace(rendition, cautions=(), beside=beside)


def _bare(header: Header, name: str) -> Header:
    """Return a header that says what size the frame has, and nothing else."""
    return Header(Path(name), "jpeg", header.size, 1, 3, 8, alpha=False, icc_profile=None)
