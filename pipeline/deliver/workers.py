"""The frames of an export, worked on side by side."""

from __future__ import annotations

from dataclasses import replace
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.done import FrameDone
from pipeline.deliver.memory import IDLE, memory_to_use, need
from pipeline.deliver.place import at_work_in
from pipeline.deliver.side_by_side import Room, Way, worked_on
from pipeline.deliver.write import sweep_unfinished
from pipeline.faults import Fault
from pipeline.job.sizes import memory_words

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.deliver.crew import Crew
    from pipeline.deliver.tasks import FrameTask

    # Whatever does the work: it yields each task with what came of it, as it is done.
    Hands = Callable[[list[FrameTask]], Iterator[tuple[FrameTask, FrameDone]]]


def results(
    tasks: list[FrameTask], workers: int, memory: int | None = None, crew: Crew[FrameTask] | None = None
) -> Iterator[tuple[FrameTask, FrameDone]]:
    """Yield each task with what came of it, as it is done; what needs no pixels is done here, and first.

    `memory` is how many bytes all processes together may take; None leaves it to what the machine can spare. `crew`
    are workers that were begun ahead.
    """
    way: Way[FrameTask, FrameDone] = Way(at_work, _lost, _sweep)
    yield from worked_on([task for task in tasks if not task.renders], 1, way)
    total = memory if memory is not None else memory_to_use()
    room = Room(total - IDLE, IDLE, need) if total is not None else None  # we take as much as an idle worker
    rendered = [task for task in tasks if task.renders]
    for task, done in worked_on(rendered, workers, replace(way, room=room), crew):
        yield task, done if total is None or room is None or room.holds_alone(task) else _with_note(task, done, total)


def _with_note(task: FrameTask, done: FrameDone, total: int) -> FrameDone:
    """Return what came of a frame that needs more memory than all may take."""
    needed = memory_words(need(task) + 2 * IDLE)
    note = (
        f"it may have taken {needed} of memory, more than {memory_words(total)}; no other frame was worked on beside it"
    )
    return replace(done, notes=(*done.notes, note))


def at_work(task: FrameTask) -> FrameDone:
    """Make every file of one frame, and hold its output folder meanwhile."""
    from pipeline.deliver.work import work_on_frame  # noqa: PLC0415 (whoever only hands out work does not load it)

    with at_work_in(task.out):
        try:
            return work_on_frame(task)
        except MemoryError:
            wanted = "close other programs, or ask for a smaller size; then run export again"
            return _failed(task, Fault(task.file, "there was not enough memory for it", wanted))


def _lost(task: FrameTask) -> FrameDone:
    found = "the worker making it was stopped twice, the second time with no other beside it"
    wanted = "run export again; if memory is short, close other programs or ask for a smaller size"
    return _failed(task, Fault(task.file, found, wanted))


def _failed(task: FrameTask, fault: Fault) -> FrameDone:
    return FrameDone(task.file, (), (fault,), (), 0, 0)


def _sweep(task: FrameTask, process: int) -> None:
    """Remove what a worker that ended in the middle of a task left unfinished."""
    places = {str(PurePosixPath(file.output.path).parent) for one in task.renditions for file in one.files}
    sweep_unfinished(task.out, places, process)
