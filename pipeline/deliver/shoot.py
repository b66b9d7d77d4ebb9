"""One shoot of an export, step by step: judged, prepared, worked on, finished.

`judge` touches nothing; `prepare` and `pipeline.deliver.finish` need the folder's lock and its ledger. Between them
stands the work on the frames, which `pipeline.deliver.export` does for all shoots of a run together.
"""

from __future__ import annotations

import fnmatch
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.deliver.place import places_of, refuse_strangers
from pipeline.deliver.renamed import rename_delivered
from pipeline.deliver.review.approved import with_approvals
from pipeline.deliver.review.earlier import keep_earlier_prints
from pipeline.deliver.review.replies import read_replies
from pipeline.deliver.sheet.links import PAGE
from pipeline.deliver.sheet.wanted import HERS, WantedSheet, plan_of_sheet
from pipeline.deliver.survey import survey
from pipeline.deliver.tasks import FrameTask, RenditionTask, can_be_read, file_tasks
from pipeline.deliver.unchanged import stamps
from pipeline.deliver.write import sweep_unfinished
from pipeline.faults import Fault
from pipeline.plan.delivered import with_delivered_names

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.recall import Sources
    from pipeline.deliver.review.replies import Kept
    from pipeline.deliver.reworded.kept import Exported
    from pipeline.deliver.survey import Survey
    from pipeline.ledger.book import ContentStamp, Ledger
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked of an export. `only` is a glob over frame/outlet/target.

    `approved` asks for finals of what is approved alone: everything but proofs waits for it. `sheet` is the contact
    sheet to write; with `previews_only` nothing but that is made. `memory` is how many bytes the work may take.
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
    memory: int | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """What came of an export.

    `made` are the files that were delivered, and the pictures of the sheet; `kept_names` counts files that keep a name
    that was delivered; `left_over` are files the job makes no longer; `unapproved` are files of earlier pictures, which
    stand where a picture waits for its approval; `sheet` is the place of the contact sheet that was written;
    `sources` are what all of it came from, `exported` what a next export may begin from.
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
    sources: Sources | None = None
    exported: Exported | None = None

    def once_more(self) -> Summary:
        """Return what the same export says where it finds everything as this one left it."""
        there = self.kept + self.rendered + self.rewritten
        return replace(self, rendered=0, rewritten=0, kept=there, renamed=(), notes=())


@dataclass(frozen=True, slots=True)
class Judged:
    """A request that was found sound as it stands; `plan` has the names that the job gives its files now.

    `missed` says that nothing in the job matches `--only`, where that is so.
    """

    asked: Asked
    surveyed: Survey
    plan: Plan
    replies: tuple[Kept, ...]
    missed: Fault | None


@dataclass(slots=True)
class Shoot:
    """A shoot at work: what it wants, and what has come of it so far.

    `contents` are the digests of the frames' files by slug, `kept` counts files that stay as they are, `done` is what
    came of its frames.
    """

    judged: Judged
    plan: Plan
    contents: Mapping[str, str]
    tasks: list[FrameTask]
    kept: int
    renamed: tuple[tuple[str, str], ...]
    faults: tuple[Fault, ...]
    done: list[FrameDone] = field(default_factory=list)

    @property
    def asked(self) -> Asked:
        """Return what was asked of it."""
        return self.judged.asked

    @property
    def complete(self) -> bool:
        """Return whether all its frames are done."""
        return len(self.done) == len(self.tasks)


def judge(asked: Asked) -> Judged:
    """Return a request that is sound. Writes nothing. Raises `RequestRefused` with what is wrong with it."""
    surveyed = survey(asked.job).knowing(asked.out)
    plan = surveyed.plan({})
    missed = None if asked.only is None else surveyed.missed_by(asked.only)
    plan_of_sheet(plan, asked.sheet)
    replies = read_replies(asked.job)
    surveyed.refuse_files_in_the_way(plan, asked.out)
    refuse_strangers(asked.out)
    return Judged(asked, surveyed, plan, replies, missed)


def prepare(judged: Judged, ledger: Ledger) -> Shoot:
    """Return the shoot with the work that it takes; renames what is to be renamed.

    Call it alone in the folder. Raises `RequestRefused` and OSError.
    """
    asked, surveyed, plan = judged.asked, judged.surveyed, judged.plan
    made = ledger.made()
    sweep_unfinished(asked.out, places_of(plan, asked.out, made))
    if not asked.rename:
        plan = with_delivered_names(plan, {row.identity: row.path for row in made.values()})
        if plan is not judged.plan:
            surveyed.refuse_files_in_the_way(plan, asked.out)
    faults = list(surveyed.unreadable)
    known_by = stamps(frame.path for frame in plan.frames)
    contents = _contents(plan, ledger, faults)
    renamed = rename_delivered(plan, asked.out, ledger, made, contents) if asked.rename else ()
    made = ledger.made()
    plan = with_approvals(plan, contents, judged.replies, ledger.rounds(), of_all=asked.approved)
    keep_earlier_prints(plan, contents, ledger, judged.replies)
    to_make = plan_of_sheet(plan, asked.sheet) if asked.previews_only else plan
    tasks, kept = _tasks(asked, to_make, contents, made, known_by)
    return Shoot(judged, plan, contents, tasks, kept, renamed, tuple(faults))


def _contents(plan: Plan, ledger: Ledger, faults: list[Fault]) -> dict[str, str]:
    """Return the digest of each frame's file by slug; a frame that cannot be read is added to `faults`."""
    contents: dict[str, str] = {}
    digests = ledger.digests(frame.path for frame in plan.frames)
    for frame in plan.frames:
        found = digests[frame.path]
        if isinstance(found, OSError):
            faults.append(Fault(frame.file, f"it cannot be read ({found.strerror})", "make it readable"))
        else:
            contents[frame.slug] = found
    return contents


def _tasks(
    asked: Asked,
    plan: Plan,
    contents: Mapping[str, str],
    made: Mapping[str, Made],
    known_by: Mapping[Path, ContentStamp],
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
            task = FrameTask(frame.header, frame.file, asked.out, tuple(work))
            tasks.append(replace(task, stamps={path: known_by[path] for path in task.headers if path in known_by}))
    return sorted(tasks, key=lambda task: -task.weight), kept
