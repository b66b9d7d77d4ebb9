"""The plan in words for a terminal, and as JSON for programs."""

from __future__ import annotations

import json
import shlex
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from pipeline.faults import printable_line
from pipeline.plan.days import days_in_words
from pipeline.plan.fill import field_word
from pipeline.plan.level import in_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Crop, Plan, PlannedFrame, Rendition

FORMAT = 1
NOTHING: Mapping[str, Made] = MappingProxyType({})
ANCHOR_WORDS = {
    "crossing": "on a crossing of the thirds",
    "line": "on a line of the thirds",
    "point": "on its anchor",
    "no": "anchor not reached",
}


def plan_lines(plan: Plan, made: Mapping[str, Made] = NOTHING) -> Iterator[str]:
    """Yield the plan line by line: frames, their renditions, their files, and every caution.

    `made` is what an earlier run made with the very pixels that the plan asks for, by path. Words that a frame carries
    act on no terminal.
    """
    yield from map(printable_line, _plan_lines(plan, made))


def _plan_lines(plan: Plan, made: Mapping[str, Made]) -> Iterator[str]:
    for number, frame in enumerate(plan.frames, start=1):
        size = frame.header.size
        yield f"{number}. {frame.slug}  ({frame.file}, {size.width} x {size.height}, {frame.header.format})"
        if turned := frame.whole.crop.turn_deg:
            held = frame.whole.crop.box
            yield f"   {in_words(turned)}: {held.width} x {held.height} of it, without empty corners"
        if frame.origins:
            yield f"   words: {_origin_words(frame)}"
        for note in frame.notes:
            yield f"   note: {note}"
        for caution in frame.cautions:
            yield f"   caution: {caution}"
        for rendition in frame.renditions:
            yield from _rendition_lines(rendition, made)
        yield ""
    if unseen := not_inspected(plan):
        yield unseen


def not_inspected(plan: Plan) -> str | None:
    """Return which frames nobody has looked at yet, and the command that does; None where there is none."""
    unseen = [frame.slug for frame in plan.frames if not frame.inspected]
    if not unseen:
        return None
    which = "" if len(unseen) == len(plan.frames) else f": {', '.join(unseen)}"
    return f"not inspected yet{which}; to look at them: plateline inspect {shlex.quote(str(plan.job))}"


def _origin_words(frame: PlannedFrame) -> str:
    """Return where the words of a frame come from: "alt, title from the job; caption from the IIM of the frame"."""
    by_origin: dict[str, list[str]] = {}
    for field, origin in frame.origins:
        by_origin.setdefault(origin, []).append(field_word(field))
    return "; ".join(f"{', '.join(fields)} from the {origin}" for origin, fields in by_origin.items())


def _rendition_lines(rendition: Rendition, made: Mapping[str, Made]) -> Iterator[str]:
    crop = rendition.crop
    yield f"   {rendition.outlet}/{rendition.target}"
    if rendition.refused:
        yield f"      refused: {rendition.refused}"
        return
    paper = f"; {rendition.effective_ppi:.0f} ppi" if rendition.effective_ppi else ""
    if two := rendition.beside:
        yield f"      two frames as {rendition.frame}, {two.layout.replace('-', ' ')}, {two.gap_px} px between them"
    yield from _crop_lines(crop, paper)
    if two:
        yield f"      and {two.frame}:"
        yield from _crop_lines(two.crop, "")
    for output in rendition.outputs:
        measured = _measured(rendition, made.get(output.path))
        yield f"      {output.size.width} x {output.size.height}  {output.path}{measured}"
    if words := rendition.approval_words:
        yield f"      {words}"
    if days := days_in_words(rendition.facts):
        yield f"      {days}"
    for caution in rendition.cautions:
        yield f"      caution: {caution}"


def _crop_lines(crop: Crop, paper: str) -> Iterator[str]:
    box = crop.box
    yield f"      box {box.width} x {box.height} at {box.left}, {box.top}; {crop.kept:.0%} of the frame kept{paper}"
    at = f"{crop.subject_at.x:.0%} across, {crop.subject_at.y:.0%} down"
    yield f"      subject at {at}, {ANCHOR_WORDS[crop.reached]}"


def _measured(rendition: Rendition, row: Made | None) -> str:
    """Return what a file took and how good it is, as far as an earlier run found out."""
    if row is None:
        return "  not measured yet" if rendition.settings.finds_quality else ""
    words = [f"{row.size_bytes / 1000:,.1f} kB"]
    words += [] if row.quality is None else [f"quality {row.quality}"]
    words += [] if row.fidelity is None else [f"fidelity {row.fidelity:.2f}"]
    return f"  {', '.join(words)}"


def check_lines(plan: Plan) -> list[str]:
    """Return what deserves a second look: a caution that several frames share stands once, with their names."""
    shared: dict[str, list[str]] = {}
    for frame in plan.frames:
        for caution in frame.cautions:
            shared.setdefault(caution, []).append(frame.slug)
    lines = [f"caution: {', '.join(slugs)}: {caution}" for caution, slugs in shared.items()]
    for rendition in plan.renditions:
        if rendition.refused:
            lines.append(f"refused: {rendition.name}: {rendition.refused}")
        else:
            lines.extend(f"caution: {rendition.name}: {caution}" for caution in rendition.cautions)
    return [printable_line(line) for line in lines]


def plan_json(plan: Plan, made: Mapping[str, Made] = NOTHING) -> str:
    """Return the plan as JSON: the same facts as the lines, for programs."""
    document = {
        "plan": FORMAT,
        "job": plan.job.name,
        "title": plan.title,
        "frames": [_frame_json(frame, made) for frame in plan.frames],
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def _frame_json(frame: PlannedFrame, made: Mapping[str, Made]) -> dict[str, Any]:
    return {
        "frame": frame.slug,
        "file": frame.file,
        "format": frame.header.format,
        "size": [frame.header.size.width, frame.header.size.height],
        "turn_deg": frame.whole.crop.turn_deg,
        "turned_size": [frame.whole.crop.box.width, frame.whole.crop.box.height],
        "alt": frame.facts.alt,
        "origins": dict(frame.origins),
        "inspected": frame.inspected,
        "notes": list(frame.notes),
        "cautions": list(frame.cautions),
        "renditions": [_rendition_json(rendition, made) for rendition in frame.renditions],
    }


def _crop_json(crop: Crop) -> dict[str, Any]:
    box = crop.box
    return {
        "box": [box.left, box.top, box.width, box.height],
        "subject_at": [round(crop.subject_at.x, 4), round(crop.subject_at.y, 4)],
        "anchor": crop.reached,
        "kept": round(crop.kept, 4),
        "keep_lost": round(crop.keep_lost, 4),
    }


def _rendition_json(rendition: Rendition, made: Mapping[str, Made]) -> dict[str, Any]:
    two = rendition.beside
    return {
        "target": f"{rendition.outlet}/{rendition.target}",
        **_crop_json(rendition.crop),
        "beside": {"frame": two.frame, **_crop_json(two.crop)} if two else None,
        "effective_ppi": None if rendition.effective_ppi is None else round(rendition.effective_ppi, 1),
        "not_before": rendition.facts.not_before,
        "licence_ends": rendition.facts.licence_ends,
        "needs_approval": rendition.needs_approval,
        "approvals": [
            {"reviewer": one.reviewer, "date": one.date, "round": one.round_id} for one in rendition.approvals
        ],
        "refused": rendition.refused,
        "cautions": list(rendition.cautions),
        "files": [
            {
                "path": output.path,
                "size": [output.size.width, output.size.height],
                "format": output.format,
                "bytes": row.size_bytes if (row := made.get(output.path)) else None,
                "quality": row.quality if row else None,
                "fidelity": row.fidelity if row else None,
            }
            for output in rendition.outputs
        ],
    }
