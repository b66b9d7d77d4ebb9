"""What looking at the frames gave, in words for a terminal and as JSON for programs."""

from __future__ import annotations

import dataclasses
import json
from typing import TYPE_CHECKING, Any

from pipeline.job.explain import toml_text
from pipeline.plan.inspected import still_found

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.inspection.run import Alike, Report
    from pipeline.frames.inspection.values import Finding, Inspection
    from pipeline.job.job import AskedFrame
    from pipeline.light.box import Region

FORMAT = 1
APART = 0.15  # of the frame: from here on a subject that was found is not the one that the job names


def report_lines(report: Report, *, quiet: bool = False) -> Iterator[str]:
    """Yield what was found, frame by frame: faults, notes, where the subject is. Quiet: faults alone."""
    for frame, inspection in report.seen:
        lines = list(_findings(frame, inspection, quiet=quiet))
        if not quiet:
            faulty = any(one.level == "fault" for one in still_found(inspection, frame.entry.turn_deg))
            lines = [*([] if faulty else ["no fault found"]), *lines, *_proposals(frame, inspection)]
        if lines:
            yield f"{frame.number}. {frame.slug}  ({frame.entry.file})"
            yield from (f"   {line}" for line in lines)
            yield ""
    if not quiet:
        yield from map(_alike, report.alike)
        yield from _accepted(report)
        yield _counts(report)


def _findings(frame: AskedFrame, inspection: Inspection, *, quiet: bool) -> Iterator[str]:
    found = list(still_found(inspection, frame.entry.turn_deg))
    for level in ("fault",) if quiet else ("fault", "note"):
        for one in found:
            if one.level == level:
                yield f"{level}: {one.says}"
                yield f"   {one.advice}"
                yield f"   {_measured(one)}"


def _measured(one: Finding) -> str:
    """Return what a finding rests on: "37.3 px, threshold 29.1 (house choice)"."""
    measured = f"{number(one.number, one.unit)} {one.unit}".strip() if one.number is not None else ""
    limit = f"threshold {number(one.threshold, one.unit)}" if one.threshold is not None else ""
    words = ", ".join(filter(None, [measured, limit]))
    return f"{words} ({one.source})" if words else one.source


def number(value: float, unit: str) -> str:
    """Return a number with three digits that count; a share ("of the frame") in per cent."""
    if unit.startswith("of the"):
        return f"{100 * value:.3g} %"
    return f"{value:.3g}" if abs(value) < 1000 else f"{value:,.0f}"


def _proposals(frame: AskedFrame, inspection: Inspection) -> Iterator[str]:
    found = inspection.proposal
    if found:
        at = f"{found.subject.x:.0%} across, {found.subject.y:.0%} down"
        keep, sure = toml_text(_corners(found.keep)), f"confidence {found.confidence:.2f}"
        yield f"subject: found at {at}; keep = {keep}; {sure}{_against_job(frame, inspection)}"
    elif frame.to_find:
        yield "subject: please point: none stands out for sure; write subject = [across, down]"
    else:
        yield "subject: none stands out for sure; yours counts"
    turn = inspection.turn_deg
    if turn is not None and turn != frame.entry.turn_deg:
        yield f"turn: turn_deg = {turn:g} would level it"


def _against_job(frame: AskedFrame, inspection: Inspection) -> str:
    """Return whether the job means the same place; nothing where it leaves it to be found."""
    found = inspection.proposal
    if frame.to_find or found is None:
        return ""
    apart = max(abs(found.subject.x - frame.subject.x), abs(found.subject.y - frame.subject.y))
    return "" if apart < APART else f"; the job says {frame.subject.x:.0%} across, {frame.subject.y:.0%} down"


def _corners(region: Region) -> list[float]:
    return [region.left, region.top, region.right, region.bottom]


def _alike(one: Alike) -> str:
    """Return how two frames of one view differ; which of them is the better is not for us to say."""
    kind = "nearly the same" if one.pair.same else "one view"
    differs = f"the second: {'; '.join(one.pair.words)}" if one.pair.words else "no difference to tell"
    return f"{kind}: {one.first} and {one.second}: {differs}"


def _accepted(report: Report) -> Iterator[str]:
    names = {frame.number: frame.slug for frame, _ in report.seen}
    for place, found in report.accepted.items():
        values = ", ".join(f"{key} = {toml_text(value)}" for key, value in found.values.items())
        yield f"written into {report.job.file.name}: {names[place]}: {values}"


def _counts(report: Report) -> str:
    levels = [one.level for frame, seen in report.seen for one in still_found(seen, frame.entry.turn_deg)]
    faults, notes = levels.count("fault"), levels.count("note")
    parts = [
        f"{len(report.seen)} of {len(report.job.frames)} frames looked at",
        f"{faults} fault{'' if faults == 1 else 's'}",
        f"{notes} note{'' if notes == 1 else 's'}",
    ]
    return ", ".join(parts)


def report_json(report: Report) -> str:
    """Return the report as JSON: the same facts as the lines, and every measure."""
    document = {
        "inspection": FORMAT,
        "job": report.job.file.name,
        "frames": [_frame_json(frame, inspection) for frame, inspection in report.seen],
        "accepted": {
            frame.slug: report.accepted[frame.number].values
            for frame, _ in report.seen
            if frame.number in report.accepted
        },
        "alike": [_alike_json(one) for one in report.alike],
        "unreadable": [str(fault) for fault in report.faults],
        "thresholds": {name: one.value for name, one in report.job.thresholds.items()},
    }
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False)


def _frame_json(frame: AskedFrame, inspection: Inspection) -> dict[str, Any]:
    found = inspection.proposal
    return {
        "frame": frame.slug,
        "file": frame.entry.file,
        "findings": [_finding_json(one) for one in still_found(inspection, frame.entry.turn_deg)],
        "subject": None
        if found is None
        else {
            "point": [found.subject.x, found.subject.y],
            "keep": _corners(found.keep),
            "confidence": found.confidence,
        },
        "turn_deg": inspection.turn_deg,
        "fingerprint": inspection.likeness.fingerprint if inspection.likeness else None,
        "measures": dict(inspection.measures),
    }


def _alike_json(one: Alike) -> dict[str, Any]:
    pair = dataclasses.asdict(one.pair) | {"moved": _corners(one.pair.moved) if one.pair.moved else None}
    return {"frames": [one.first, one.second], **pair}


def _finding_json(one: Finding) -> dict[str, Any]:
    return dataclasses.asdict(one) | {"where": _corners(one.where) if one.where else None}
