"""The frames of an export, worked on side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.deliver.side_by_side import worked
from pipeline.deliver.work import FrameDone, work_on_frame
from pipeline.faults import Fault

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.tasks import FrameTask


def results(tasks: list[FrameTask], workers: int) -> Iterator[tuple[FrameTask, FrameDone]]:
    """Yield each task with what came of it, as it is done; what needs no pixels is done here, and first."""
    yield from worked([task for task in tasks if not task.renders], 1, work_on_frame, _lost)
    yield from worked([task for task in tasks if task.renders], workers, work_on_frame, _lost)


def _lost(task: FrameTask) -> FrameDone:
    fault = Fault(task.file, "the worker making it was stopped", "run export again; give it fewer --workers")
    return FrameDone(task.file, (), (fault,), (), 0, 0)
