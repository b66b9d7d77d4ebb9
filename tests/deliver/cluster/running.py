"""A Dask scheduler and workers of the command line on the loopback, as she would start them."""

from __future__ import annotations

import contextlib
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

CHECKOUT = Path(__file__).resolve().parents[3]
WITHIN_S = 120


def dask() -> list[str]:
    """Return the command; a missing library is a skip."""
    pytest.importorskip("distributed", reason="judge missing: distributed")
    return [sys.executable, "-m", "distributed.cli.dask_" + "{}"]


def _begin(kind: str, words: list[str], log: Path, **more: str) -> subprocess.Popen[bytes]:
    module = dask()[-1].format(kind)
    paths = os.pathsep.join(filter(None, [more.pop("first", ""), str(CHECKOUT)]))
    environment = {**os.environ, "DASK_DISTRIBUTED__WORKER__PROFILE__ENABLED": "false", "PYTHONPATH": paths, **more}
    with log.open("wb") as stream:
        return subprocess.Popen(
            [sys.executable, "-m", module, *words], stdout=stream, stderr=stream, env=environment, cwd=log.parent
        )


def _said(log: Path, pattern: str, process: subprocess.Popen[bytes]) -> str:
    """Return what a log says, once it does."""
    until = time.monotonic() + WITHIN_S
    while time.monotonic() < until:
        if found := re.search(pattern, log.read_text(encoding="utf-8", errors="replace")):
            return found[1]
        assert process.poll() is None, log.read_text(encoding="utf-8", errors="replace")
        time.sleep(0.05)
    raise AssertionError(log.read_text(encoding="utf-8", errors="replace"))


@contextlib.contextmanager
def ended(process: subprocess.Popen[bytes]) -> Iterator[subprocess.Popen[bytes]]:
    """Let a process run, and end it afterwards whatever it is at."""
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@contextlib.contextmanager
def scheduler(folder: Path) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """Run a scheduler; yield its address and its process."""
    log = folder / "scheduler.log"
    words = ["--host", "127.0.0.1", "--port", "0", "--no-dashboard", "--no-jupyter"]
    with ended(_begin("scheduler", words, log)) as process:
        yield _said(log, r"Scheduler at:\s+(tcp://\S+)", process), process


@contextlib.contextmanager
def workers(address: str, folder: Path, count: int = 1, threads: int = 1, first: str = "") -> Iterator[list[int]]:
    """Run workers of one process each; yield their process ids. `first` is where their Python looks first."""
    with contextlib.ExitStack() as stack:
        begun = []
        for number in range(count):
            log = folder / f"worker-{number}.log"
            words = [address, "--nthreads", str(threads), "--no-nanny", "--no-dashboard", "--host", "127.0.0.1"]
            begun.append((log, stack.enter_context(ended(_begin("worker", words, log, first=first)))))
        for log, process in begun:
            _said(log, r"(Registered) to:", process)
        yield [process.pid for _, process in begun]
