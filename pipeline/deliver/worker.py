"""One worker process: it loads what it will need, then works on each task that comes through a pipe of its own."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
from dataclasses import dataclass
from multiprocessing import forkserver, resource_tracker
from queue import SimpleQueue
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from pipeline.deliver.cores import CORES

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

    Ready = Callable[[], Iterator[None]]

Task = TypeVar("Task")
Done = TypeVar("Done")

# On Linux workers are forked from a process that has loaded what they need and begun no thread. Elsewhere, and where
# that process cannot be had, each begins anew: some systems' own libraries do not outlive a fork.
WAYS = ("forkserver", "spawn") if sys.platform == "linux" else ("spawn",)
TEMPLATE = "pipeline.deliver.template"


@dataclass(frozen=True, slots=True)
class Threads:
    """How many threads may be at the task that the worker has, from now on; a task begins with one."""

    most: int


@dataclass(slots=True, eq=False)
class Worker(Generic[Task]):
    """A worker process, our end of its pipe, the task it is at, and how many threads may be at it."""

    process: BaseProcess
    pipe: Connection
    task: Task | None = None
    threads: int = 1

    @property
    def number(self) -> int:
        """Return its process id."""
        return self.process.pid or 0

    @property
    def alive(self) -> bool:
        """Return whether the process is there."""
        return self.process.is_alive()

    def send(self, message: object) -> None:
        """Send what it is to do. One that is gone is found when its answer is waited for."""
        with contextlib.suppress(OSError):
            self.pipe.send(message)

    def begin(self, task: Task) -> None:
        """Send it a task."""
        self.task, self.threads = task, 1
        self.send(task)

    def allow(self, threads: int) -> None:
        """Let so many threads be at its task."""
        if threads != self.threads:
            self.threads = threads
            self.send(Threads(threads))

    def end(self) -> None:
        """End it at once, whatever it is at, and wait until it is gone."""
        self.pipe.close()
        self.process.kill()
        self.process.join()


@dataclass(frozen=True, slots=True)
class Raised:
    """What the work raised in a worker."""

    error: Exception


def load_ahead() -> None:
    """Let the process that workers are forked from begin to load, where there is one; come back at once."""
    if WAYS[0] == "forkserver":
        with contextlib.suppress(OSError), _deaf_to_the_keyboard():
            multiprocessing.set_forkserver_preload([TEMPLATE])
            forkserver.ensure_running()


def begin_worker(ready: Ready | None = None) -> Worker[Task] | None:
    """Begin a worker; None where no process can be had. Waits until what it is forked from has loaded.

    The first message that it takes is the function that it is to call, one of a module; each after that is a task, to
    which it answers with what the function returned, or `Raised`. Until the first comes it takes the steps of `ready`.
    """
    load_ahead()
    for way in WAYS:
        begun: Worker[Task] | None = _begun(multiprocessing.get_context(way), ready)
        if begun:
            return begun
    return None


def _begun(context: BaseContext, ready: Ready | None) -> Worker[Task] | None:
    try:
        ours, theirs = context.Pipe()
    except OSError:
        return None
    process = context.Process(target=_serve, args=(theirs, ready), daemon=True)  # type: ignore[attr-defined]
    try:
        with _deaf_to_the_keyboard():
            process.start()
    except (OSError, EOFError):  # EOFError: what it was to be forked from is gone
        ours.close()
        return None
    finally:
        theirs.close()  # the worker alone holds it now: its death closes it
    return Worker(process, ours)


@contextlib.contextmanager
def _deaf_to_the_keyboard() -> Iterator[None]:
    """Let what is begun here take no interrupt from its first moment on: the parent alone acts on one, a little later.

    A new process inherits which signals are held back (signal(7), execve(2)).
    """
    resource_tracker.ensure_running()  # type: ignore[no-untyped-call, unused-ignore]  # it would let them through again
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(pipe: Connection, ready: Ready | None) -> None:
    """Be a worker: work on each task that comes, until no more can come."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # numpy's: workers share the cores, and idle threads look busy
    heard: SimpleQueue[Any] = SimpleQueue()
    threading.Thread(target=_listen, args=(pipe, heard), daemon=True).start()
    with contextlib.suppress(OSError, MemoryError):  # the parent is gone, or finds that its worker is
        if ready:
            _make_ready(ready, heard)
        work = heard.get()
        while True:
            pipe.send(_answer(work, heard.get()))


def _listen(pipe: Connection, heard: SimpleQueue[Any]) -> None:
    """Take what the parent sends, also in the middle of a task. Nothing more can come: it is gone, or wants no more."""
    try:
        while True:
            message = pipe.recv()
            if isinstance(message, Threads):
                CORES.allow(message.most)
            else:
                CORES.allow(1)
                heard.put(message)
    except BaseException:  # noqa: BLE001 (whatever it is: a worker that hears nothing is none)
        os._exit(1)


def _make_ready(ready: Ready, heard: SimpleQueue[Any]) -> None:
    """Take steps until something is to be done; for want of what one needs (memory) the work is none the worse."""
    with contextlib.suppress(Exception):
        any(not heard.empty() for _ in ready())


def _answer(work: Callable[[Task], Done], task: Task) -> Done | Raised:
    try:
        return work(task)
    except Exception as error:  # noqa: BLE001 (whatever it is, the parent raises it)
        return Raised(error)
