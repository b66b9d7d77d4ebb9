"""One worker process: it loads what it will need, then works on each task that comes through a pipe of its own."""

from __future__ import annotations

import contextlib
import importlib
import multiprocessing
import os
import signal
import sys
import threading
from collections import deque
from dataclasses import dataclass
from multiprocessing import resource_tracker
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence
    from multiprocessing.connection import Connection
    from multiprocessing.context import SpawnProcess

Task = TypeVar("Task")
Done = TypeVar("Done")

BESIDE = 7  # nice value: about a fifth of the weight of a process at work


@dataclass(slots=True, eq=False)
class Worker(Generic[Task]):
    """A worker process, our end of its pipe, and the task it is at."""

    process: SpawnProcess
    pipe: Connection
    task: Task | None = None

    @property
    def number(self) -> int:
        """Return its process id."""
        return self.process.pid or 0

    @property
    def alive(self) -> bool:
        """Return whether the process is there."""
        return self.process.is_alive()

    def send(self, message: object) -> None:
        """Send what it is to do, then tasks. One that is gone is found when its answer is waited for."""
        with contextlib.suppress(OSError):
            self.pipe.send(message)

    def end(self) -> None:
        """End it at once, whatever it is at, and wait until it is gone."""
        self.pipe.close()
        self.process.kill()
        self.process.join()


@dataclass(frozen=True, slots=True)
class Raised:
    """What the work raised in a worker."""

    error: Exception


def begin_worker(loads: Sequence[str] = ()) -> Worker[Task] | None:
    """Begin a worker; None where no process can be had.

    The first message that it takes is the function that it is to call, one of a module; each after that is a task, to
    which it answers with what the function returned, or `Raised`. Until the first comes it imports the modules that
    `loads` names: what cannot be imported is told by the work that needs it.
    """
    context = multiprocessing.get_context("spawn")  # libvips has threads of its own, which a fork would lose
    try:
        ours, theirs = context.Pipe()
    except OSError:
        return None
    process = context.Process(target=_serve, args=(theirs, tuple(loads)), daemon=True)
    try:
        with _deaf_to_the_keyboard():
            process.start()
    except OSError:
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


def _serve(pipe: Connection, loads: Sequence[str]) -> None:
    """Be a worker: work on each task that comes, until no more can come."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # numpy's: workers share the cores, and idle threads look busy
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.suppress(EOFError, OSError):  # the parent is gone
        _load(loads, pipe)
        work = pipe.recv()
        while True:
            pipe.send(_answer(work, pipe.recv()))


def _load(loads: Sequence[str], pipe: Connection) -> None:
    """Import modules: with little of the machine as long as nothing is to be done, then what is left in full.

    The one who reads the job and plans comes first. On Linux a thread has a nice value of its own (setpriority(2)).
    """
    left = deque(loads)
    wanted = threading.Event()

    def beside() -> None:
        if sys.platform == "linux":
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), BESIDE)
        while left and not wanted.is_set():
            _import(left.popleft())

    loading = threading.Thread(target=beside, daemon=True)
    loading.start()
    pipe.poll(None)
    wanted.set()
    loading.join()
    for name in left:
        _import(name)


def _import(name: str) -> None:
    with contextlib.suppress(Exception):
        importlib.import_module(name)


def _answer(work: Callable[[Task], Done], task: Task) -> Done | Raised:
    try:
        return work(task)
    except Exception as error:  # noqa: BLE001 (whatever it is, the parent raises it)
        return Raised(error)


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
