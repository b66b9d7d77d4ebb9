"""Tasks worked on side by side: worker processes, and the work here where one is enough.

Each worker is handed one task at a time through a pipe of its own. So a worker that dies (the system takes one where
memory is short) costs its own task a second attempt and no other task anything; and nothing is shared between the
processes that would have to be cleared up after them.
"""

from __future__ import annotations

import contextlib
import signal
import threading
from collections import deque
from dataclasses import dataclass
from multiprocessing.connection import wait
from typing import TYPE_CHECKING, Generic, TypeVar, cast

from pipeline.deliver.cores import CORES
from pipeline.deliver.worker import Raised, Worker, begin_worker

if TYPE_CHECKING:
    from collections.abc import Callable, Generator, Iterator, Sequence
    from multiprocessing.connection import Connection

    from pipeline.deliver.crew import Crew

Task = TypeVar("Task")
Done = TypeVar("Done")

STOPPING = (signal.SIGINT, signal.SIGTERM)


@dataclass(frozen=True, slots=True)
class Room(Generic[Task]):
    """How much memory all workers may take together, in bytes, and what one takes: idle, and for a task besides."""

    total: int
    idle: int
    need: Callable[[Task], int]

    def holds_alone(self, task: Task) -> bool:
        """Return whether one worker at this task stays within it."""
        return self.idle + self.need(task) <= self.total

    def threads(self, task: Task, most: int, processes: int = 1) -> int:
        """Return how many threads, of so many, may be at a task in one of so many processes: each may need as much."""
        return max(1, min(most, (self.total // processes - self.idle) // max(1, self.need(task))))


@dataclass(frozen=True, slots=True)
class Way(Generic[Task, Done]):
    """How tasks are worked on.

    `work` is a function of a module, which a worker can load. `lost` says what came of a task whose worker died twice;
    `left` clears up what a worker, by its process id, left of a task when it ended in the middle. `room` bounds what
    is worked on at the same time; a task that is too large for it is worked on alone.
    """

    work: Callable[[Task], Done]
    lost: Callable[[Task], Done]
    left: Callable[[Task, int], None] = lambda *_: None
    room: Room[Task] | None = None


def worked(
    tasks: Sequence[Task], workers: int, work: Callable[[Task], Done], lost: Callable[[Task], Done]
) -> Iterator[tuple[Task, Done]]:
    """Yield each task with what came of it, as it is done. `lost` says what came of one whose worker died."""
    return worked_on(tasks, workers, Way(work, lost))


def worked_on(
    tasks: Sequence[Task], workers: int, way: Way[Task, Done], crew: Crew[Task] | None = None
) -> Generator[tuple[Task, Done], None, None]:
    """Yield each task with what came of it, as it is done; the first are begun first. What `work` raises is raised.

    Workers of the `crew` are taken before others are begun; those for which there is no work are ended. Where fewer
    tasks are left than workers, more threads may be at each (`pipeline.deliver.cores`).
    """
    if tasks and (min(workers, len(tasks)) > 1 or (crew and crew.begun())):
        yield from _Pool(tasks, workers, way, crew).results()
        return
    if crew:
        crew.end()
    for task in tasks:
        yield task, _done_here(task, way, workers)


def _done_here(task: Task, way: Way[Task, Done], threads: int) -> Done:
    CORES.allow(way.room.threads(task, threads) if way.room else threads)
    try:
        with _interrupts_noted() as noted:
            done = way.work(task)
    finally:
        CORES.allow(1)
    if noted:
        raise KeyboardInterrupt
    return done


@contextlib.contextmanager
def _interrupts_noted() -> Iterator[list[int]]:
    """Note an interrupt instead of raising it where libvips calls back into Python, and it would be lost."""
    noted: list[int] = []
    if threading.current_thread() is not threading.main_thread():
        yield noted
        return
    before = {number: signal.signal(number, lambda number, _: noted.append(number)) for number in STOPPING}
    try:
        yield noted
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Pool(Generic[Task, Done]):
    """Workers, what they are at, and what waits: `_again` holds what a worker died of, to be tried alone."""

    def __init__(self, tasks: Sequence[Task], workers: int, way: Way[Task, Done], crew: Crew[Task] | None) -> None:
        self._way = way
        self._cores = workers
        self._most = min(workers, len(tasks))
        self._waiting = deque(tasks)
        self._again: deque[Task] = deque()
        self._tried: list[Task] = []
        self._workers: list[Worker[Task]] = []
        self._crew = crew

    def results(self) -> Iterator[tuple[Task, Done]]:
        """Yield each task with what came of it. Whatever ends this ends the workers too."""
        try:
            self._take_crew()
            while self._waiting or self._again or self._busy:
                yield from self._begin()
                if self._busy:
                    yield from self._ended()
        finally:
            for worker in self._workers:
                worker.end()
                if worker.task is not None:
                    self._way.left(worker.task, worker.number)

    def _take_crew(self) -> None:
        if self._crew:
            self._workers += self._crew.take(self._beginnable())
        for worker in self._workers:
            worker.send(self._way.work)

    def _beginnable(self) -> int:
        """Return how many of the first tasks there is room for at once; one is always begun."""
        room, taken = self._way.room, 0
        if room is None:
            return self._most
        for number, task in enumerate(self._waiting):
            taken += room.need(task) + room.idle
            if number == self._most or taken > room.total:
                return max(1, number)
        return self._most

    @property
    def _busy(self) -> list[Worker[Task]]:
        return [worker for worker in self._workers if worker.task is not None]

    def _begin(self) -> list[tuple[Task, Done]]:
        """Begin all tasks that may be worked on now; return what had to be done here, for want of processes."""
        while (task := self._next()) is not None:
            worker = self._idle()
            if worker is None:
                return [(task, _done_here(task, self._way, 1))]
            worker.begin(task)
        self._share_cores()
        return []

    def _share_cores(self) -> None:
        """Where nothing waits, let those that are at the last tasks have the cores of those that are at none."""
        busy = self._busy
        if self._waiting or self._again:
            return
        for place, worker in enumerate(busy):
            task = cast("Task", worker.task)
            share = (self._cores + place) // len(busy)  # all shares together are all cores
            worker.allow(1 if self._was_tried(task) else self._threads(task, share))

    def _threads(self, task: Task, share: int) -> int:
        room = self._way.room
        return room.threads(task, share, len(self._busy)) if room else share

    def _was_tried(self, task: Task) -> bool:
        return any(task is one for one in self._tried)

    def _next(self) -> Task | None:
        """Return the next task that there is a worker and room for, taken out of what waits."""
        busy = self._busy
        if len(busy) >= self._most:
            return None
        if not self._waiting:  # what killed a worker once has the machine to itself
            return self._again.popleft() if self._again and not busy else None
        if not busy:
            return self._waiting.popleft()
        for task in self._waiting:
            if self._fits(task, busy):
                self._waiting.remove(task)
                return task
        return None

    def _fits(self, task: Task, busy: list[Worker[Task]]) -> bool:
        room = self._way.room
        if room is None:
            return True
        taken = sum(room.need(worker.task) for worker in busy if worker.task is not None)
        processes = max(len(self._workers), len(busy) + 1)
        return taken + room.need(task) + processes * room.idle <= room.total

    def _idle(self) -> Worker[Task] | None:
        """Return a worker without a task, a new one where there is none; None where no process can be had."""
        for worker in [one for one in self._workers if one.task is None]:
            if worker.alive:
                return worker
            self._workers.remove(worker)
            worker.end()
        begun: Worker[Task] | None = begin_worker()
        if begun:
            begun.send(self._way.work)
            self._workers.append(begun)
        return begun

    def _ended(self) -> list[tuple[Task, Done]]:
        """Wait until something happens; return what came of the tasks that are through. Begins others before."""
        by_pipe = {worker.pipe: worker for worker in self._busy}
        found: list[tuple[Task, Done]] = []
        for pipe in wait(list(by_pipe)):
            worker = by_pipe[cast("Connection", pipe)]
            task = cast("Task", worker.task)
            try:
                answer = worker.pipe.recv()
            except (EOFError, OSError):
                found += self._died(worker, task)
                continue
            worker.task = None
            if isinstance(answer, Raised):
                raise answer.error
            found.append((task, answer))
        found += self._begin()
        self._let_go()
        return found

    def _let_go(self) -> None:
        """End the workers for which nothing is left: what comes after the last frames has their memory."""
        if self._waiting or self._again:
            return
        for worker in [one for one in self._workers if one.task is None]:
            self._workers.remove(worker)
            worker.end()

    def _died(self, worker: Worker[Task], task: Task) -> list[tuple[Task, Done]]:
        """Clear up after a worker. Its task is tried once more, the second time it is lost."""
        self._workers.remove(worker)
        worker.end()
        self._way.left(task, worker.number)
        if self._was_tried(task):
            return [(task, self._way.lost(task))]
        self._tried.append(task)
        self._again.append(task)
        return []
