"""The export: plan, compare, render, record, and write what goes with the pictures.

The steps stand in `export` in their order. Workers make files; this process alone writes the ledger.
"""

from __future__ import annotations

import contextlib
import fnmatch
import multiprocessing
import os
import signal
import threading
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pipeline.deliver.manifest import manifest_json
from pipeline.deliver.place import LOCK, MANIFEST, SHEET, places_of, refuse_strangers
from pipeline.deliver.progress import Progress
from pipeline.deliver.sheet import sheet_html
from pipeline.deliver.survey import survey
from pipeline.deliver.tasks import FrameTask, RenditionTask, file_tasks
from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.work import FrameDone, work_on_frame
from pipeline.deliver.write import (
    inside,
    plain_place,
    prepare_folder,
    set_aside,
    sweep_unfinished,
    write_if_changed,
)
from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.book import Ledger

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path
    from typing import TextIO

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan, Rendition


@dataclass(frozen=True, slots=True)
class Asked:
    """What the person asked of an export. `only` is a glob over frame/outlet/target."""

    job: Path
    out: Path
    only: str | None = None
    workers: int | None = None
    rename: bool = False
    previews_only: bool = False
    quiet: bool = False


@dataclass(frozen=True, slots=True)
class Summary:
    """What came of an export.

    `kept_names` counts files that keep a name that was delivered; `left_over` are files the job makes no longer.
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


def export(asked: Asked, progress_to: TextIO) -> Summary:
    """Make every file of a job that is not there yet. Raises `RequestRefused`; all else is in the summary."""
    surveyed = survey(asked.job)
    plan = asked_for = surveyed.plan({})  # the whole request is judged before anything is touched
    if asked.only is not None:
        surveyed.refuse_only(asked.only)
    surveyed.refuse_files_in_the_way(plan, asked.out)
    prepare_folder(asked.out, str(asked.out))
    refuse_strangers(asked.out)
    with _alone_in(asked.out), Ledger(asked.out) as ledger:
        sweep_unfinished(asked.out, places_of(plan))
        made = ledger.made()
        if not asked.rename:
            plan = surveyed.plan({row.identity: row.path for row in made.values()})
            surveyed.refuse_files_in_the_way(plan, asked.out)
        renamed = _rename(plan, asked.out, ledger, made) if asked.rename else ()
        made = ledger.made()
        faults = list(surveyed.unreadable)
        sources: dict[str, str] = {}
        tasks, kept = _tasks(asked, plan, ledger, made, sources, faults)
        done = _work(asked, tasks, ledger, progress_to)
        made = ledger.made()
        summary = Summary(
            plan=plan,
            made=made,
            rendered=sum(one.rendered for one in done),
            rewritten=sum(one.rewritten for one in done),
            kept=kept,
            renamed=renamed,
            faults=(*faults, *(fault for one in done for fault in one.faults)),
            notes=tuple(f"{one.file}: {note}" for one in done for note in one.notes),
            only=asked.only,
            kept_names=_kept_names(asked_for, plan),
            left_over=() if surveyed.unreadable else _left_over(plan, made, asked.out),
        )
        if not asked.previews_only:
            write_if_changed(asked.out, MANIFEST, manifest_json(plan, made, sources))
            sponsor = surveyed.job.sponsor
            for place, content in web_kit(plan, made, sponsor.disclosure if sponsor else None).items():
                write_if_changed(asked.out, f"web/{place}", content)
        write_if_changed(asked.out, SHEET, sheet_html(_with_made_previews(plan, made), made).encode())
    return summary


def _with_made_previews(plan: Plan, made: dict[str, Made]) -> Plan:
    """Return the plan without the previews that are not there, so that the sheet shows a gap and no broken picture."""

    def shown(rendition: Rendition) -> Rendition:
        there = rendition.preview is None or rendition.preview.path in made
        return rendition if there else replace(rendition, preview=None)

    frames = (
        replace(frame, whole=shown(frame.whole), renditions=tuple(map(shown, frame.renditions)))
        for frame in plan.frames
    )
    return replace(plan, frames=tuple(frames))


def _kept_names(asked_for: Plan, plan: Plan) -> int:
    """Return how many files keep a name that the job would give them otherwise now."""
    pairs = zip(asked_for.renditions, plan.renditions, strict=True)
    return sum(
        one.path != other.path for new, old in pairs for one, other in zip(new.outputs, old.outputs, strict=True)
    )


def _left_over(plan: Plan, made: dict[str, Made], out: Path) -> tuple[str, ...]:
    """Return files that were made for this folder and that the job makes no longer; nobody but her removes them."""
    wanted = {output.path for rendition in plan.renditions for output in rendition.outputs}
    wanted |= {one.preview.path for frame in plan.frames for one in (frame.whole, *frame.renditions) if one.preview}
    return tuple(path for path in made if path not in wanted and (out / path).is_file())


@contextlib.contextmanager
def _alone_in(out: Path) -> Iterator[None]:
    """Hold the output folder for one export at a time; a second one says so instead of mixing its files in."""
    import fcntl  # noqa: PLC0415 (not there on every system that can read a plan)

    # Never through a link, never emptied: whatever stands there may be somebody's.
    lock = os.open(plain_place(out, LOCK), os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o644)
    try:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise RequestRefused(
                Fault(
                    str(out),
                    "another export is at work in this folder",
                    "wait for it, or name another folder with --out",
                )
            ) from None
        yield
    finally:
        os.close(lock)


def _rename(plan: Plan, out: Path, ledger: Ledger, made: dict[str, Made]) -> tuple[tuple[str, str], ...]:
    """Move delivered files to the names that the job gives them now; return old and new paths."""
    from pipeline.plan.build import identity  # noqa: PLC0415 (only when names change)

    by_identity = {row.identity: row for row in made.values()}
    moves: list[tuple[Made, str]] = []
    for frame in plan.frames:
        for rendition in frame.renditions:
            for output in rendition.outputs:
                name = f"{rendition.outlet}/{rendition.target}"
                row = by_identity.get(identity(frame.file, name, output.size, output.format))
                if row and row.path != output.path and inside(out, row.path).is_file():
                    moves.append((row, output.path))
    for row, path in moves:
        place = inside(out, path)
        place.parent.mkdir(parents=True, exist_ok=True)
        known = made.get(path)
        set_aside(out, path, b"", known.sha256 if known else None)
        inside(out, row.path).replace(place)
        ledger.record([replace(row, path=path)])
    return tuple((row.path, path) for row, path in moves)


def _tasks(
    asked: Asked,
    plan: Plan,
    ledger: Ledger,
    made: dict[str, Made],
    sources: dict[str, str],
    faults: list[Fault],
) -> tuple[list[FrameTask], int]:
    """Return the work of each frame, heaviest first, and how many files are kept as they are."""
    tasks: list[FrameTask] = []
    kept = 0
    for frame in plan.frames:
        try:
            content = sources[frame.slug] = ledger.digest(frame.path)
        except OSError as error:
            faults.append(Fault(frame.file, f"it cannot be read ({error.strerror})", "make it readable"))
            continue
        chosen = [one for one in frame.renditions if asked.only is None or fnmatch.fnmatchcase(one.name, asked.only)]
        if chosen or asked.only is None:
            chosen.append(frame.whole)
        work: list[RenditionTask] = []
        for rendition in chosen:
            files = file_tasks(frame, rendition, content, made, asked.out, previews_only=asked.previews_only)
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
    for task, result in _results(tasks, asked.workers or os.cpu_count() or 1):
        ledger.record(result.made)
        done.append(result)
        progress.frame_done(task.file, len(result.made), task.weight)
    return done


def _results(tasks: list[FrameTask], workers: int) -> Iterator[tuple[FrameTask, FrameDone]]:
    """Yield each task with what came of it, as it is done."""
    pixels = [task for task in tasks if task.renders]
    here = [task for task in tasks if not task.renders]
    pool = _pool(min(workers, len(pixels)))
    if pool is None:
        here, pixels = here + pixels, []
    for task in here:
        with _interrupts_noted() as noted:
            done = work_on_frame(task)
        yield task, done
        if noted:
            raise KeyboardInterrupt
    if pool is not None:
        with pool:
            yield from _side_by_side(pool, pixels)


@contextlib.contextmanager
def _interrupts_noted() -> Iterator[list[int]]:
    """Note an interrupt instead of raising it where libvips calls back into Python, and it would be lost."""
    noted: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield noted
        return
    before = signal.signal(signal.SIGINT, lambda number, _: noted.append(number))
    try:
        yield noted
    finally:
        signal.signal(signal.SIGINT, before)


def _pool(workers: int) -> ProcessPoolExecutor | None:
    """Return worker processes, or None where one is enough or the system has no room for shared locks."""
    if workers <= 1:
        return None
    context = multiprocessing.get_context("spawn")  # libvips has threads of its own, which a fork would lose
    try:
        return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin_worker)
    except OSError:
        return None


def _begin_worker() -> None:
    """Set up a worker: it ends its frame when the keyboard interrupts, and ends itself when its parent is gone."""
    # An interrupt from the keyboard reaches every process; the parent alone acts on it.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _side_by_side(pool: ProcessPoolExecutor, tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
    """Yield each task with what came of it; a worker that dies costs its frame, not the run."""
    waiting = {pool.submit(work_on_frame, task): task for task in tasks}
    try:
        while waiting:
            finished, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in finished:
                task = waiting.pop(future)
                try:
                    yield task, future.result()
                except BrokenProcessPool:
                    fault = Fault(
                        task.file, "the worker making it was stopped", "run export again; give it fewer --workers"
                    )
                    yield task, FrameDone(task.file, (), (fault,), (), 0, 0)
    finally:  # a run that is stopped starts no further frame
        pool.shutdown(cancel_futures=True)
