"""One frame looked at in a worker: decoded once, every measure taken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.faults import Fault, FrameUnreadable

if TYPE_CHECKING:
    from pipeline.frames.header import Header
    from pipeline.frames.inspection.told import Told
    from pipeline.frames.inspection.values import Inspection
    from pipeline.light.thresholds import Thresholds


@dataclass(frozen=True, slots=True)
class FrameTask:
    """One frame to look at: what a worker is handed. `file` is its name as the job writes it."""

    slug: str
    header: Header
    file: str
    told: Told
    thresholds: Thresholds

    @property
    def weight(self) -> int:
        """Return roughly how long it takes, in pixels."""
        return self.header.size.pixels


def look_at(task: FrameTask) -> Inspection | Fault:
    """Return what looking at a frame gave, or why it cannot be decoded."""
    import pyvips  # noqa: PLC0415 (loads the image library; not every run needs it)

    from pipeline.frames.inspection.inspect import inspect_frame  # noqa: PLC0415 (as above)
    from pipeline.frames.pixels import decode  # noqa: PLC0415 (as above)

    pyvips.concurrency_set(1)  # frames side by side use the cores better than threads inside them
    try:
        return inspect_frame(task.header, decode(task.header, name=task.file), task.told, task.thresholds)
    except FrameUnreadable as error:
        return error.fault


def lost(task: FrameTask) -> Fault:
    """Return what is said of a frame whose worker died."""
    return Fault(task.file, "the worker looking at it was stopped", "run inspect again; give it fewer --workers")
