"""The export of one job or of many: every request judged, one pool for all frames, each shoot finished by itself.

Workers make files; this process alone writes the ledgers. What stops one shoot does not stop the others.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from pipeline.deliver.folders import Folders
from pipeline.deliver.progress import Progress
from pipeline.deliver.shoot import Asked, Judged, Shoot, Summary, judge, prepare
from pipeline.deliver.workers import results
from pipeline.deliver.write import prepare_folder
from pipeline.faults import Fault, RequestRefused, of_job, stopped_by

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path
    from typing import TextIO

    from pipeline.deliver.crew import Crew
    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.tasks import FrameTask
    from pipeline.deliver.workers import Hands

__all__ = ["Asked", "Came", "Summary", "export", "export_each", "faults_of"]

AT_ONCE = 100  # shoots at work together: the plans and locks of no more are held at any time


@dataclass(frozen=True, slots=True)
class Came:
    """What came of one shoot: its summary, or what stopped it; neither where nothing in it matches `--only`."""

    asked: Asked
    summary: Summary | None = None
    stopped: OSError | RequestRefused | None = None


def export(
    asked: Asked,
    progress_to: TextIO,
    hands: Hands | None = None,
    through: Callable[[Hands], Hands] | None = None,
    crew: Crew[FrameTask] | None = None,
) -> Summary:
    """Make every file of a job that is not there yet. Raises `RequestRefused` and OSError; else see the summary."""
    [came] = export_each([asked], progress_to, hands, through, crew)
    if came.summary is None:
        raise came.stopped or AssertionError
    return came.summary


def export_each(
    asked: Sequence[Asked],
    progress_to: TextIO,
    hands: Hands | None = None,
    through: Callable[[Hands], Hands] | None = None,
    crew: Crew[FrameTask] | None = None,
) -> Iterator[Came]:
    """Make every file of several jobs that is not there yet, and yield what came of each shoot once it is whole.

    One command asks for all: how many workers, how much memory, and whether quiet, is taken from the first. Raises
    `RequestRefused` with the faults of all jobs before anything is written; what stops one shoot after that is in what
    came of it. `hands` do the work on the frames; None for processes of this machine, those of the `crew` first.
    `through` does more with what they made.
    """
    judged, matching = _all_judged(asked)
    yield from (Came(one) for one in asked if one not in matching)
    workers = asked[0].workers or os.cpu_count() or 1
    hands = hands or partial(results, workers=workers, memory=asked[0].memory, crew=crew)
    hands = through(hands) if through else hands
    progress = Progress(progress_to, frames=0, files=0, weight=0, quiet=asked[0].quiet)
    for start in range(0, len(matching), AT_ONCE):
        with Folders() as folders:
            run = _Run(folders, progress, several=len(asked) > 1)
            for one in matching[start : start + AT_ONCE]:
                if came := run.begin(one, judged.pop(one.out, None)):
                    yield came
            yield from run.work(hands)


@dataclass(slots=True)
class _Run:
    """The shoots that are at work together, by output folder."""

    folders: Folders
    progress: Progress
    several: bool
    shoots: dict[Path, Shoot] = field(default_factory=dict)

    def begin(self, asked: Asked, judged: Judged | None) -> Came | None:
        """Take in a shoot; return what came of it where there is no work for it, or none can be done."""
        try:
            self.folders.hold(asked.out)
            shoot = prepare(judged or judge(asked), self.folders.ledger(asked.out))
        except (OSError, RequestRefused) as error:
            return self._stopped(asked, error)
        self.shoots[asked.out] = shoot
        return self._finished(shoot) if shoot.complete else None

    def work(self, hands: Hands) -> Iterator[Came]:
        """Do the work of all in one pool, and yield what came of each shoot when its last frame is done."""
        tasks = [task for shoot in self.shoots.values() for task in shoot.tasks]
        self.progress.expect(
            frames=len(tasks),
            files=sum(len(one.files) for task in tasks for one in task.renditions),
            weight=sum(task.weight for task in tasks),
        )
        for task, done in hands(tasks):
            shoot = self.shoots.get(task.out)
            if shoot is None:  # it was stopped when this frame of it was under way
                continue
            came = self._recorded(shoot, done)
            self.progress.frame_done(self._shown(shoot, task), len(done.made), task.weight)
            if came is None and shoot.complete:
                came = self._finished(shoot)
            if came:
                yield came
            if not self.shoots:
                return  # what is still waiting is of shoots that were stopped

    def _shown(self, shoot: Shoot, task: FrameTask) -> str:
        return f"{shoot.plan.slug} / {task.file}" if self.several else task.file

    def _recorded(self, shoot: Shoot, done: FrameDone) -> Came | None:
        """Keep what came of a frame; return what stopped its shoot, if anything did."""
        from pipeline.deliver.finish import load_ahead  # noqa: PLC0415 (loaded while other frames are at work)

        load_ahead()
        try:
            self.folders.ledger(shoot.asked.out).record(done.made)
        except (OSError, RequestRefused) as error:
            return self._stopped(shoot.asked, error)
        shoot.done.append(done)
        return None

    def _finished(self, shoot: Shoot) -> Came:
        from pipeline.deliver.finish import finish  # noqa: PLC0415 (as above)

        try:
            summary = finish(shoot, self.folders.ledger(shoot.asked.out))
        except (OSError, RequestRefused) as error:
            return self._stopped(shoot.asked, error)
        self._let_go(shoot.asked)
        return Came(shoot.asked, summary)

    def _stopped(self, asked: Asked, error: OSError | RequestRefused) -> Came:
        self._let_go(asked)
        return Came(asked, stopped=error)

    def _let_go(self, asked: Asked) -> None:
        self.shoots.pop(asked.out, None)
        self.folders.let_go(asked.out)


def _all_judged(asked: Sequence[Asked]) -> tuple[dict[Path, Judged], list[Asked]]:
    """Judge all, make the output folders, and return those jobs in which `--only` matches something.

    With them what was judged, by output folder: of a long list, of the first that are at work together. Raises
    `RequestRefused` with the faults of all.
    """
    faults = _shared_folders(asked)
    judged: dict[Path, Judged] = {}
    matching: list[Asked] = []
    missed: list[Fault] = []
    for one in asked:
        try:
            sound = judge(one)
        except RequestRefused as refused:
            faults += _told(refused.faults, one, asked)
            continue
        if sound.missed:
            missed += _told([sound.missed], one, asked)
            continue
        matching.append(one)
        if len(judged) < AT_ONCE:
            judged[one.out] = sound
    faults = faults or ([] if matching else missed) or _folders_made(matching)
    if faults:
        raise RequestRefused(*faults)
    return judged, matching


def _folders_made(asked: Sequence[Asked]) -> list[Fault]:
    """Make the output folders; where one cannot be made, take the new ones away again and return the faults."""
    faults: list[Fault] = []
    new = [one.out for one in asked if not os.path.lexists(one.out)]
    for one in asked:
        try:
            prepare_folder(one.out, str(one.out))
        except RequestRefused as refused:
            faults += _told(refused.faults, one, asked)
    if faults:
        for out in new:
            with contextlib.suppress(OSError):
                out.rmdir()
    return faults


def _shared_folders(asked: Sequence[Asked]) -> list[Fault]:
    """Return a fault for each job whose output folder is that of a job before it."""
    faults: list[Fault] = []
    first: dict[str, Path] = {}
    for one in asked:
        other = first.setdefault(os.path.realpath(one.out), one.job)
        if other is not one.job:
            found = f"its output folder {one.out} is also that of {other}"
            wanted = "give each job a folder of its own, or export them one by one, each with an --out of its own"
            faults.append(Fault(str(one.job), found, wanted))
    return faults


def _told(faults: Iterable[Fault], one: Asked, asked: Sequence[Asked]) -> list[Fault]:
    return [of_job(fault, one.job) if len(asked) > 1 else fault for fault in faults]


def faults_of(came: Came) -> tuple[Fault, ...]:
    """Return what went wrong with a shoot."""
    if isinstance(came.stopped, RequestRefused):
        return came.stopped.faults
    if came.stopped:
        return (stopped_by(came.stopped),)
    return came.summary.faults if came.summary else ()
