"""The frames of an export, worked on side by side."""

from __future__ import annotations

from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.place import at_work_in
from pipeline.deliver.side_by_side import Way, worked_on
from pipeline.deliver.work import FrameDone, work_on_frame
from pipeline.deliver.write import sweep_unfinished
from pipeline.faults import Fault

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.deliver.tasks import FrameTask

    # Whatever does the work: it yields each task with what came of it, as it is done.
    Hands = Callable[[list[FrameTask]], Iterator[tuple[FrameTask, FrameDone]]]


def results(tasks: list[FrameTask], workers: int) -> Iterator[tuple[FrameTask, FrameDone]]:
    """Yield each task with what came of it, as it is done; what needs no pixels is done here, and first."""
    way = Way(at_work, _lost, _sweep)
    yield from worked_on([task for task in tasks if not task.renders], 1, way)
    yield from worked_on([task for task in tasks if task.renders], workers, way)


def at_work(task: FrameTask) -> FrameDone:
    """Make every file of one frame, and hold its output folder meanwhile."""
    with at_work_in(task.out):
        return work_on_frame(task)


def _lost(task: FrameTask) -> FrameDone:
    found = "the worker making it was stopped twice, the second time with no other beside it"
    wanted = "run export again; if memory is short, close other programs or ask for a smaller size"
    return FrameDone(task.file, (), (Fault(task.file, found, wanted),), (), 0, 0)


def _sweep(task: FrameTask, process: int) -> None:
    """Remove what a worker that ended in the middle of a task left unfinished."""
    places = {str(PurePosixPath(file.output.path).parent) for one in task.renditions for file in one.files}
    sweep_unfinished(task.out, places, process)
