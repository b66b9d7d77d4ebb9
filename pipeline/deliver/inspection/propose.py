"""Where the subjects of some frames are: what a first job file starts with."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.progress import Progress
from pipeline.deliver.side_by_side import worked
from pipeline.faults import Fault, FrameUnreadable
from pipeline.light.thresholds import house_thresholds

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import TextIO

    from pipeline.frames.header import Header
    from pipeline.frames.inspection.values import Proposal

WORTH_A_WORKER = 4_000_000  # pixels: fewer are decoded before another process has begun


@dataclass(frozen=True, slots=True)
class _Task:
    name: str
    header: Header


def workers_for(pixels: int) -> int:
    """Return how many worker processes so many pixels are worth, at most one a core."""
    return max(1, min(os.cpu_count() or 1, pixels // WORTH_A_WORKER))


def proposals(
    frames: Sequence[tuple[str, Header]], progress_to: TextIO | None = None
) -> dict[str, Proposal | Fault | None]:
    """Return for each frame, by name, where its subject is: None where none is sure, a fault where it is not whole."""
    tasks = [_Task(name, header) for name, header in frames]
    pixels = sum(task.header.size.pixels for task in tasks)
    progress = Progress(progress_to, frames=len(tasks), weight=pixels) if progress_to else None
    found: dict[str, Proposal | Fault | None] = {}
    for task, proposal in worked(tasks, workers_for(pixels), _look, _lost):
        found[task.name] = proposal
        if progress:
            progress.frame_done(task.name, weight=task.header.size.pixels)
    return found


def _look(task: _Task) -> Proposal | Fault | None:
    import pyvips  # noqa: PLC0415 (loads the image library; not every run needs it)

    from pipeline.frames.inspection.inspect import proposed  # noqa: PLC0415 (as above)
    from pipeline.frames.inspection.view import reduced_light  # noqa: PLC0415 (as above)
    from pipeline.frames.pixels import decode  # noqa: PLC0415 (as above)

    pyvips.concurrency_set(1)  # as in `worker`
    try:
        pixels = decode(task.header, name=task.name)
    except FrameUnreadable as error:
        return error.fault
    return proposed(reduced_light(pixels), house_thresholds())[0]


def _lost(task: _Task) -> Fault:
    return Fault(task.name, "the worker looking at it was stopped", "add it to the job by hand")
