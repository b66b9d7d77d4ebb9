"""The plan in words for a terminal, and as JSON for programs."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.plan.fill import field_word

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.rendition import Plan, PlannedFrame, Rendition

FORMAT = 1
ANCHOR_WORDS = {
    "crossing": "on a crossing of the thirds",
    "line": "on a line of the thirds",
    "point": "on its anchor",
    "no": "anchor not reached",
}


def plan_lines(plan: Plan) -> Iterator[str]:
    """Yield the plan line by line: frames, their renditions, their files, and every caution."""
    for number, frame in enumerate(plan.frames, start=1):
        size = frame.header.size
        yield f"{number}. {frame.slug}  ({frame.file}, {size.width} x {size.height}, {frame.header.format})"
        if frame.origins:
            yield f"   words: {_origin_words(frame)}"
        for note in frame.notes:
            yield f"   note: {note}"
        for caution in frame.cautions:
            yield f"   caution: {caution}"
        for rendition in frame.renditions:
            yield from _rendition_lines(rendition)
        yield ""


def _origin_words(frame: PlannedFrame) -> str:
    """Return where the words of a frame come from: "alt, title from the job; caption from the IIM of the frame"."""
    by_origin: dict[str, list[str]] = {}
    for field, origin in frame.origins:
        by_origin.setdefault(origin, []).append(field_word(field))
    return "; ".join(f"{', '.join(fields)} from the {origin}" for origin, fields in by_origin.items())


def _rendition_lines(rendition: Rendition) -> Iterator[str]:
    crop, box = rendition.crop, rendition.crop.box
    yield f"   {rendition.outlet}/{rendition.target}"
    if rendition.refused:
        yield f"      refused: {rendition.refused}"
        return
    at = f"subject at {crop.subject_at.x:.0%} across, {crop.subject_at.y:.0%} down, {ANCHOR_WORDS[crop.reached]}"
    paper = f"; {rendition.effective_ppi:.0f} ppi" if rendition.effective_ppi else ""
    yield f"      box {box.width} x {box.height} at {box.left}, {box.top}; {crop.kept:.0%} of the frame kept{paper}"
    yield f"      {at}"
    for output in rendition.outputs:
        yield f"      {output.size.width} x {output.size.height}  {output.path}"
    for caution in rendition.cautions:
        yield f"      caution: {caution}"


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
    return lines


def plan_json(plan: Plan) -> str:
    """Return the plan as JSON: the same facts as the lines, for programs."""
    document = {
        "plan": FORMAT,
        "job": plan.job.name,
        "title": plan.title,
        "frames": [_frame_json(frame) for frame in plan.frames],
    }
    return json.dumps(document, ensure_ascii=False, indent=1)


def _frame_json(frame: PlannedFrame) -> dict[str, Any]:
    return {
        "frame": frame.slug,
        "file": frame.file,
        "format": frame.header.format,
        "size": [frame.header.size.width, frame.header.size.height],
        "alt": frame.facts.alt,
        "origins": dict(frame.origins),
        "notes": list(frame.notes),
        "cautions": list(frame.cautions),
        "renditions": [_rendition_json(rendition) for rendition in frame.renditions],
    }


def _rendition_json(rendition: Rendition) -> dict[str, Any]:
    crop, box = rendition.crop, rendition.crop.box
    return {
        "target": f"{rendition.outlet}/{rendition.target}",
        "box": [box.left, box.top, box.width, box.height],
        "subject_at": [round(crop.subject_at.x, 4), round(crop.subject_at.y, 4)],
        "anchor": crop.reached,
        "kept": round(crop.kept, 4),
        "keep_lost": round(crop.keep_lost, 4),
        "effective_ppi": None if rendition.effective_ppi is None else round(rendition.effective_ppi, 1),
        "refused": rendition.refused,
        "cautions": list(rendition.cautions),
        "files": [
            {"path": output.path, "size": [output.size.width, output.size.height], "format": output.format}
            for output in rendition.outputs
        ],
    }
