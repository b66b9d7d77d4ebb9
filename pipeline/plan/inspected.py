"""What looking at the frames gave, in the plan: subjects that the job leaves to be found, and what to look at again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused
from pipeline.job.asked import request_of, with_subject

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from pipeline.frames.inspection.values import Finding, Inspection
    from pipeline.job.job import AskedFrame, AskedPair, Job
    from pipeline.plan.rendition import Plan, PlannedFrame

POINT = "please point: {}write subject = [across, down]"
# Findings that a turn in the job mends, when it is the one that was proposed.
MENDED_BY_TURN = frozenset({"level"})
NEARLY_DEG = 0.3


def with_found_subjects(job: Job, readable: Collection[str], known: Mapping[str, Inspection]) -> Job:
    """Return the job with each subject that was to be found, as it was found.

    `readable` are the slugs of the frames that the plan will hold, `known` what looking at them gave. Raises
    `RequestRefused` with a fault for each frame whose subject is not known.
    """
    if not any(asked.to_find for asked in job.frames):
        return job
    faults: list[Fault] = []
    frames = tuple(_found(job, asked, known, faults) if asked.slug in readable else asked for asked in job.frames)
    if faults:
        raise RequestRefused(*faults)
    by_slug = {asked.slug: asked for asked in frames}
    return replace(job, frames=frames, pairs=tuple(_pair(pair, by_slug) for pair in job.pairs))


def _found(job: Job, asked: AskedFrame, known: Mapping[str, Inspection], faults: list[Fault]) -> AskedFrame:
    if not asked.to_find:
        return asked
    inspection = known.get(asked.slug)
    if inspection and inspection.proposal:
        return with_subject(asked, inspection.proposal.subject, inspection.proposal.keep)
    if inspection:
        found, wanted = "looked at, and no subject stands out for sure", POINT.format("")
    else:
        found = "its subject is still to be found"
        wanted = POINT.format(f"run plateline inspect {job.file.name}, or ")
    faults.append(Fault(job.file.name, found, wanted, f"{asked.place}: subject"))
    return asked


def _pair(pair: AskedPair, frames: Mapping[str, AskedFrame]) -> AskedPair:
    first, second = frames[pair.first.slug], frames[pair.second.slug]
    requests = tuple((request_of(first.entry, one), request_of(second.entry, other)) for one, other in pair.requests)
    return replace(pair, first=first, second=second, requests=requests)


def with_findings(plan: Plan, known: Mapping[str, Inspection]) -> Plan:
    """Return the plan with what looking at its frames gave, by slug: a fault is a caution, the rest are notes."""
    return replace(plan, frames=tuple(_told(frame, known.get(frame.slug)) for frame in plan.frames))


def _told(frame: PlannedFrame, inspection: Inspection | None) -> PlannedFrame:
    if inspection is None:
        return frame
    standing = list(still_found(inspection, frame.whole.crop.turn_deg))
    cautions = (sentence(one) for one in standing if one.level == "fault")
    notes = (sentence(one) for one in standing if one.level == "note")
    return replace(frame, cautions=(*frame.cautions, *cautions), notes=(*frame.notes, *notes), inspected=True)


def sentence(finding: Finding) -> str:
    """Return a finding as the plan tells it."""
    return f"inspection: {finding.says} {finding.advice}".rstrip()


def still_found(inspection: Inspection, turn_deg: float) -> Iterator[Finding]:
    """Yield what still speaks of a frame that the job turns by `turn_deg`: a tilt that this mends is no finding."""
    mended = inspection.turn_deg is not None and abs(inspection.turn_deg - turn_deg) <= NEARLY_DEG
    return (one for one in inspection.findings if not (mended and one.rule in MENDED_BY_TURN))
