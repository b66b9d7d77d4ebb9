"""Frames worked on side by side: worker processes, and the work here where one is enough."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING

from pipeline.deliver.work import FrameDone, work_on_frame
from pipeline.faults import Fault

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.tasks import FrameTask


def results(tasks: list[FrameTask], workers: int) -> Iterator[tuple[FrameTask, FrameDone]]:
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
