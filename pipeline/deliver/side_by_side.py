"""Tasks worked on side by side: worker processes, and the work here where one is enough."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

Task = TypeVar("Task")
Done = TypeVar("Done")


def worked(
    tasks: Sequence[Task], workers: int, work: Callable[[Task], Done], lost: Callable[[Task], Done]
) -> Iterator[tuple[Task, Done]]:
    """Yield each task with what came of it, as it is done. `lost` says what came of one whose worker died."""
    pool = _pool(min(workers, len(tasks)))
    if pool is not None:
        with pool:
            yield from _in_pool(pool, tasks, work, lost)
        return
    for task in tasks:
        with _interrupts_noted() as noted:
            done = work(task)
        yield task, done
        if noted:
            raise KeyboardInterrupt


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


def _in_pool(
    pool: ProcessPoolExecutor, tasks: Sequence[Task], work: Callable[[Task], Done], lost: Callable[[Task], Done]
) -> Iterator[tuple[Task, Done]]:
    """Yield each task with what came of it; a worker that dies costs its task, not the run."""
    waiting = {pool.submit(work, task): task for task in tasks}
    try:
        while waiting:
            finished, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in finished:
                task = waiting.pop(future)
                try:
                    yield task, future.result()
                except BrokenProcessPool:
                    yield task, lost(task)
    finally:  # a run that is stopped starts no further task
        pool.shutdown(cancel_futures=True)
