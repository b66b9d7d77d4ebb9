"""What whole processes cost: time on the clock, processor time, and the memory of all of them together."""

from __future__ import annotations

import contextlib
import ctypes
import os
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    Command = Sequence[str]

EVERY_S = 0.05  # between two looks at the memory
PR_SET_CHILD_SUBREAPER = 36  # linux/prctl.h


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds on the clock from the first start to the last end, and seconds of processor time, of all processes."""

    wall_s: float
    cpu_s: float


def spent(*commands: Command) -> Spent:
    """Run commands side by side; return what they cost with all that they begin. CalledProcessError where one fails."""
    began, cpu_s, failed = time.perf_counter(), 0.0, []
    with _inheriting_orphans():
        running = [subprocess.Popen(command, env=as_installed(), start_new_session=True) for command in commands]
        for process in running:
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
            cpu_s += used.ru_utime + used.ru_stime + _orphans(process.pid)
            failed += [process] if process.returncode else []
    wall_s = time.perf_counter() - began
    for process in failed:
        raise subprocess.CalledProcessError(process.returncode, process.args)
    return Spent(wall_s, cpu_s)


@contextlib.contextmanager
def _inheriting_orphans() -> Iterator[None]:
    """Be the parent of those below whose own has ended, as workers' may before they do (prctl(2); Linux alone)."""
    if sys.platform != "linux":
        yield
        return
    prctl = ctypes.CDLL(None, use_errno=True).prctl
    if prctl(PR_SET_CHILD_SUBREAPER, 1, 0, 0, 0):
        raise OSError(ctypes.get_errno(), "this process cannot take orphans")
    try:
        yield
    finally:
        prctl(PR_SET_CHILD_SUBREAPER, 0, 0, 0, 0)


def _orphans(group: int) -> float:
    """Wait for what is left of a process group; return its processor time, in seconds."""
    cpu_s = 0.0
    with contextlib.suppress(ChildProcessError):  # there is none any more
        while True:
            _, _, used = os.wait4(-group, 0)
            cpu_s += used.ru_utime + used.ru_stime
    return cpu_s


def as_installed() -> dict[str, str]:
    """Return the environment of a program whose modules are compiled once, as they are where it is installed."""
    return {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}


def in_turn(
    ways: Mapping[str, Callable[[], Spent]], rounds: int, times: Mapping[str, int] | None = None
) -> dict[str, Spent]:
    """Take every way in turn, so many rounds; return the least that each took on the clock, and of the processor.

    Those that `times` names are taken so often in each round, in turn too. What else the machine does falls on all
    alike, and the least is what it costs where nothing does.
    """
    often = times or {}
    taken: dict[str, list[Spent]] = {name: [] for name in ways}
    for _ in range(rounds):
        for time_of_round in range(max(often.values(), default=1)):
            for name, way in ways.items():
                if time_of_round < often.get(name, 1):
                    taken[name].append(way())
    return {
        name: Spent(min(one.wall_s for one in each), min(one.cpu_s for one in each)) for name, each in taken.items()
    }


@dataclass(slots=True)
class Held:
    """The most bytes that were held together at any look."""

    most: int = 0


@contextlib.contextmanager
def memory_of_children() -> Iterator[Held]:
    """Look, as long as it lasts, at the memory of all that this process starts meanwhile, together (Linux alone).

    What ran before, and what that starts, is not counted. Counted as the kernel's proportional set size: a page that
    several processes share counts once in all.
    """
    held, ended = Held(), threading.Event()
    before = family(os.getpid(), _parents()) - {os.getpid()}

    def look() -> None:
        while not ended.wait(EVERY_S):
            parents = {child: parent for child, parent in _parents().items() if child not in before}
            children = family(os.getpid(), parents) - {os.getpid()}
            held.most = max(held.most, sum(_held(each) for each in children))

    looking = threading.Thread(target=look)
    looking.start()
    try:
        yield held
    finally:
        ended.set()
        looking.join()


def peak_memory(command: Command) -> int:
    """Run a command; return the most bytes that it and its children held together at any look."""
    with memory_of_children() as held:
        spent(command)
    return held.most


def family(root: int, parents: Mapping[int, int]) -> set[int]:
    """Return a process and all that descend from it, by the parent of each process."""
    found: set[int] = set()
    newer = {root}
    while newer:
        found |= newer
        newer = {child for child, parent in parents.items() if parent in newer} - found
    return found


def _parents() -> dict[int, int]:
    """Return the parent of every process (proc(5): the fourth field of stat; the second may hold brackets itself)."""
    found = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            found[int(stat.parent.name)] = int(stat.read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue  # it has ended
    return found


def _held(process: int) -> int:
    try:
        lines = Path(f"/proc/{process}/smaps_rollup").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0  # it has ended
    return 1024 * sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
