"""`plateline inspect`: every frame looked at once, what is found kept in the ledger of the output folder."""

from __future__ import annotations

import itertools
import stat
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.deliver.inspection.known import look, told
from pipeline.deliver.inspection.propose import workers_for
from pipeline.deliver.inspection.worker import FrameTask, look_at, lost
from pipeline.deliver.place import alone_in, refuse_strangers
from pipeline.deliver.progress import Progress
from pipeline.deliver.side_by_side import worked
from pipeline.deliver.survey import survey
from pipeline.deliver.write import prepare_folder, write_whole
from pipeline.faults import Fault
from pipeline.frames.inspection.sameness import compare
from pipeline.job.write_back import Found, with_found
from pipeline.ledger.book import Ledger

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from typing import TextIO

    from pipeline.deliver.survey import Survey
    from pipeline.frames.inspection.sameness import Pair
    from pipeline.frames.inspection.values import Inspection
    from pipeline.job.job import AskedFrame, Job
    from pipeline.ledger.inspected import Looked
    from pipeline.light.thresholds import Thresholds


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked of an inspection. `accept` writes what was found into the job file."""

    job: Path
    out: Path
    workers: int | None = None
    quiet: bool = False
    accept: bool = False


@dataclass(frozen=True, slots=True)
class Alike:
    """Two frames that show one view, by their slugs, and how the second differs from the first."""

    first: str
    second: str
    pair: Pair


@dataclass(frozen=True, slots=True)
class Report:
    """What came of it: the frames that could be looked at, in the order of the job, and what could not be read.

    `accepted` is what was written into the job file, by the frame's number in it; `alike` are frames of one view, two
    by two.
    """

    job: Job
    seen: tuple[tuple[AskedFrame, Inspection], ...]
    faults: tuple[Fault, ...]
    accepted: dict[int, Found] = field(default_factory=dict)
    alike: tuple[Alike, ...] = ()


def inspect(asked: Asked, progress_to: TextIO) -> Report:
    """Look at every frame of a job that was not looked at yet. Raises `RequestRefused`; all else is in the report."""
    before = _bytes(asked.job) if asked.accept else b""
    surveyed = survey(asked.job)
    surveyed.refuse_files_in_the_way(None, asked.out)
    prepare_folder(asked.out, str(asked.out))
    refuse_strangers(asked.out)
    with alone_in(asked.out), Ledger(asked.out) as ledger:
        report = _looked_at(asked, surveyed, ledger, progress_to)
        ledger.check_place()
    return _accepted(asked, report, before) if asked.accept else report


def _looked_at(asked: Asked, surveyed: Survey, ledger: Ledger, progress_to: TextIO) -> Report:
    job, faults = surveyed.job, list(surveyed.unreadable)
    looks: dict[str, Looked] = {}
    for frame in job.frames:
        if frame.slug in surveyed.headers:
            try:
                looks[frame.slug] = look(ledger.digest(frame.path), told(job, frame), job.thresholds)
            except OSError as error:
                reason = error.strerror or str(error)
                faults.append(Fault(frame.entry.file, f"it cannot be read ({reason})", "make it readable"))
    known = ledger.inspected(looks.values())
    found = {slug: known[one] for slug, one in looks.items() if one in known}
    tasks = [
        FrameTask(frame.slug, surveyed.headers[frame.slug], frame.entry.file, told(job, frame), job.thresholds)
        for frame in job.frames
        if frame.slug in looks and frame.slug not in found
    ]
    tasks.sort(key=lambda one: -one.weight)
    weight = sum(one.weight for one in tasks)
    progress = Progress(progress_to, frames=len(tasks), weight=weight, quiet=asked.quiet)
    for task, done in worked(tasks, asked.workers or workers_for(weight), look_at, lost):
        progress.frame_done(task.file, weight=task.weight)
        if isinstance(done, Fault):
            faults.append(done)
            continue
        found[task.slug] = done
        ledger.keep_inspected(_also_as_accepted(task, looks[task.slug], done))
    seen = tuple((frame, found[frame.slug]) for frame in job.frames if frame.slug in found)
    return Report(job, seen, tuple(faults), alike=tuple(_alike(seen, job.thresholds)))


def _alike(seen: Sequence[tuple[AskedFrame, Inspection]], thresholds: Thresholds) -> Iterator[Alike]:
    for (one, inspection), (other, beside) in itertools.combinations(seen, 2):
        if inspection.likeness and beside.likeness:
            pair = compare(inspection.likeness, beside.likeness, thresholds)
            if pair.view:
                yield Alike(one.slug, other.slug, pair)


def _also_as_accepted(task: FrameTask, looked: Looked, found: Inspection) -> dict[Looked, Inspection]:
    """Return what to keep: a look with a subject that was found is also one with that subject given."""
    looks = {looked: found}
    if task.told.subject is None and found.proposal:
        given = replace(task.told, subject=found.proposal.subject, keep=task.told.keep or found.proposal.keep)
        looks[look(looked.sha256, given, task.thresholds)] = found
    return looks


def _bytes(job: Path) -> bytes:
    try:
        return job.read_bytes()
    except (OSError, ValueError):  # told where it is read
        return b""


def _accepted(asked: Asked, report: Report, before: bytes) -> Report:
    """Write what was found for sure into the job file, whole or not at all. Raises OSError."""
    found = {frame.number: _to_write(frame, inspection) for frame, inspection in report.seen if frame.to_find}
    sure = {number: one for number, one in found.items() if one}
    if not sure:
        return report
    place = asked.job.resolve()  # a link stays a link
    new = with_found(before, sure, asked.job.name)
    if isinstance(new, list):
        return replace(report, faults=(*report.faults, *new))
    if _bytes(asked.job) != before:
        changed = Fault(asked.job.name, "it was changed while its frames were looked at", "run inspect --accept again")
        return replace(report, faults=(*report.faults, changed))
    write_whole(place, new, stat.S_IMODE(place.stat().st_mode))
    return replace(report, accepted=sure)


def _to_write(frame: AskedFrame, inspection: Inspection) -> Found | None:
    proposal, entry = inspection.proposal, frame.entry
    if proposal is None:
        return None
    leans = any(one.rule == "level" and one.level == "fault" for one in inspection.findings)
    turn = inspection.turn_deg if leans and "turn_deg" not in entry.model_fields_set else None
    return Found(proposal.subject, None if entry.keep else proposal.keep, turn)
