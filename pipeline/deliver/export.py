"""The export: plan, compare, render, record, and write what goes with the pictures.

The steps stand in `export` in their order. Workers make files; this process alone writes the ledger.
"""

from __future__ import annotations

import fnmatch
import os
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.deliver.manifest import manifest_json
from pipeline.deliver.measured import with_measured_cautions
from pipeline.deliver.place import alone_in, places_of, refuse_strangers
from pipeline.deliver.progress import Progress
from pipeline.deliver.renamed import rename_delivered
from pipeline.deliver.review.approved import with_approvals
from pipeline.deliver.review.earlier import drop_old_prints, keep_earlier_prints
from pipeline.deliver.review.replies import read_replies
from pipeline.deliver.sheet.for_outlet import FOR_OUTLETS
from pipeline.deliver.sheet.links import PAGE
from pipeline.deliver.sheet.wanted import HERS, WantedSheet, plan_of_sheet
from pipeline.deliver.sheet.write import Sheets
from pipeline.deliver.survey import survey
from pipeline.deliver.tasks import FrameTask, RenditionTask, can_be_read, file_tasks, made_as_planned
from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.workers import results
from pipeline.deliver.write import (
    prepare_folder,
    sweep_unfinished,
    write_if_changed,
)
from pipeline.faults import Fault
from pipeline.job.kept_names import MANIFEST
from pipeline.ledger.book import Ledger

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path
    from typing import TextIO

    from pipeline.deliver.work import FrameDone
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked of an export. `only` is a glob over frame/outlet/target.

    `approved` asks for finals of what is approved alone: everything but proofs waits for it. `sheet` is the contact
    sheet to write; with `previews_only` nothing but that is made.
    """

    job: Path
    out: Path
    only: str | None = None
    workers: int | None = None
    rename: bool = False
    previews_only: bool = False
    quiet: bool = False
    approved: bool = False
    sheet: WantedSheet = HERS


@dataclass(frozen=True, slots=True)
class Summary:
    """What came of an export.

    `made` are the files that were delivered, and the pictures of the sheet; `kept_names` counts files that keep a name
    that was delivered; `left_over` are files the job makes no longer; `unapproved` are files of earlier pictures, which
    stand where a picture waits for its approval; `sheet` is the place of the contact sheet that was written.
    """

    plan: Plan
    made: dict[str, Made]
    rendered: int
    rewritten: int
    kept: int
    renamed: tuple[tuple[str, str], ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    only: str | None = None
    kept_names: int = 0
    left_over: tuple[str, ...] = ()
    unapproved: tuple[str, ...] = ()
    sheet: str | None = PAGE


def export(asked: Asked, progress_to: TextIO) -> Summary:
    """Make every file of a job that is not there yet. Raises `RequestRefused`; all else is in the summary."""
    surveyed = survey(asked.job).knowing(asked.out)
    plan = asked_for = surveyed.plan({})  # the whole request is judged before anything is touched
    if asked.only is not None:
        surveyed.refuse_only(asked.only)
    plan_of_sheet(plan, asked.sheet)
    replies = read_replies(asked.job)
    surveyed.refuse_files_in_the_way(plan, asked.out)
    prepare_folder(asked.out, str(asked.out))
    refuse_strangers(asked.out)
    with alone_in(asked.out), Ledger(asked.out) as ledger:
        made = ledger.made()
        sweep_unfinished(asked.out, places_of(plan, asked.out, made))
        if not asked.rename:
            plan = surveyed.plan({row.identity: row.path for row in made.values()})
            surveyed.refuse_files_in_the_way(plan, asked.out)
        renamed = rename_delivered(plan, asked.out, ledger, made) if asked.rename else ()
        made = ledger.made()
        faults = list(surveyed.unreadable)
        contents = _contents(plan, ledger, faults)
        plan = with_approvals(plan, contents, replies, ledger.rounds(), of_all=asked.approved)
        keep_earlier_prints(plan, contents, ledger, replies)
        to_make = plan_of_sheet(plan, asked.sheet) if asked.previews_only else plan
        tasks, kept = _tasks(asked, to_make, contents, made)
        done = _work(asked, tasks, ledger, progress_to)
        ledger.check_place()
        made = ledger.made()
        as_planned = made_as_planned(plan, contents, made)
        delivered = _delivered(plan, made, as_planned)
        plan = with_measured_cautions(plan, delivered)
        summary = Summary(
            plan=plan,
            made=delivered,
            rendered=sum(one.rendered for one in done),
            rewritten=sum(one.rewritten for one in done),
            kept=kept,
            renamed=renamed,
            faults=tuple(dict.fromkeys((*faults, *(fault for one in done for fault in one.faults)))),
            notes=tuple(f"{one.file}: {note}" for one in done for note in one.notes),
            only=asked.only,
            kept_names=_kept_names(asked_for, plan),
            left_over=() if surveyed.unreadable else _left_over(plan, made, asked.out),
            unapproved=tuple(path for path in made if path not in delivered and (asked.out / path).is_file()),
            sheet=asked.sheet.place(plan),
        )
        if not asked.previews_only:
            write_if_changed(asked.out, MANIFEST, manifest_json(plan, delivered, contents))
            sponsor = surveyed.job.sponsor
            for place, content in web_kit(plan, delivered, sponsor.disclosure if sponsor else None).items():
                write_if_changed(asked.out, f"web/{place}", content)
        there = {path: row for path, row in as_planned.items() if path in delivered}
        unwritten = Sheets(plan, contents, ledger, replies, there).write(asked.sheet)
        if unwritten:
            summary = replace(summary, faults=(*summary.faults, unwritten), sheet=None)
        drop_old_prints(plan, contents, ledger, replies)
        ledger.check_place()
    return summary


def _delivered(plan: Plan, made: Mapping[str, Made], as_planned: Mapping[str, Made]) -> dict[str, Made]:
    """Return what was made without the files of another picture than the one that was approved, or is still to be."""
    held_back = {
        output.path
        for rendition in plan.renditions
        for output in rendition.outputs
        if rendition.needs_approval and (rendition.waits or output.path not in as_planned)
    }
    return {path: row for path, row in made.items() if path not in held_back}


def _kept_names(asked_for: Plan, plan: Plan) -> int:
    """Return how many files keep a name that the job would give them otherwise now."""
    pairs = zip(asked_for.renditions, plan.renditions, strict=True)
    return sum(
        one.path != other.path for new, old in pairs for one, other in zip(new.outputs, old.outputs, strict=True)
    )


def _left_over(plan: Plan, made: dict[str, Made], out: Path) -> tuple[str, ...]:
    """Return files that were made for this folder and that the job makes no longer; nobody but her removes them."""
    wanted = {output.path for rendition in plan.renditions for output in rendition.outputs}
    wanted |= {
        output.path for frame in plan.frames for one in (frame.whole, *frame.renditions) for output in one.sheet_outputs
    }
    mine = (path for path in made if path not in wanted and not path.startswith(FOR_OUTLETS))
    return tuple(path for path in mine if (out / path).is_file())


def _contents(plan: Plan, ledger: Ledger, faults: list[Fault]) -> dict[str, str]:
    """Return the digest of each frame's file by slug; a frame that cannot be read is added to `faults`."""
    contents: dict[str, str] = {}
    for frame in plan.frames:
        try:
            contents[frame.slug] = ledger.digest(frame.path)
        except OSError as error:
            faults.append(Fault(frame.file, f"it cannot be read ({error.strerror})", "make it readable"))
    return contents


def _tasks(
    asked: Asked, plan: Plan, contents: Mapping[str, str], made: Mapping[str, Made]
) -> tuple[list[FrameTask], int]:
    """Return the work of each frame, heaviest first, and how many files are kept as they are."""
    tasks: list[FrameTask] = []
    kept = 0
    for frame in plan.frames:
        if frame.slug not in contents:
            continue
        chosen = [one for one in frame.renditions if asked.only is None or fnmatch.fnmatchcase(one.name, asked.only)]
        if chosen or asked.only is None:
            chosen.append(frame.whole)
        work: list[RenditionTask] = []
        for rendition in chosen:
            if not can_be_read(frame, rendition, contents):
                continue
            previews_only = asked.previews_only or rendition.waits
            files = file_tasks(frame, rendition, contents, made, asked.out, previews_only=previews_only)
            todo = tuple(file for file in files.files if file.work != "keep")
            kept += len(files.files) - len(todo)
            if todo:
                work.append(RenditionTask(rendition, todo))
        if work:
            tasks.append(FrameTask(frame.header, frame.file, asked.out, tuple(work)))
    return sorted(tasks, key=lambda task: -task.weight), kept


def _work(asked: Asked, tasks: list[FrameTask], ledger: Ledger, progress_to: TextIO) -> list[FrameDone]:
    """Do the work and record each frame as it is done."""
    files = sum(len(one.files) for task in tasks for one in task.renditions)
    weight = sum(task.weight for task in tasks)
    progress = Progress(progress_to, frames=len(tasks), files=files, weight=weight, quiet=asked.quiet)
    done: list[FrameDone] = []
    for task, result in results(tasks, asked.workers or os.cpu_count() or 1):
        ledger.record(result.made)
        done.append(result)
        progress.frame_done(task.file, len(result.made), task.weight)
    return done
