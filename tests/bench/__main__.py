"""`python -m tests.bench [--full] [PART ...]` measures speed and memory, and prints the table.

Ratios are taken side by side in one run. Exit code 1 where a figure misses its bound. `--full` adds 120 frames.
`--frames N --rounds 1` is for trying: fewer frames, and figures that say little.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import os
import platform
import sys
import time
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from tests.bench.table import heading

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from tests.bench.table import Row

ROUNDS = 3
PACKAGES = ("numpy", "pyvips-binary", "pillow", "imagecodecs")
# Modules of this folder that have `rows()` of their own; those that are not there are left out, by name.
OTHERS = ("start_up", "cluster")
PARTS = ("speed", "memory", "shares", "quality", *OTHERS)


def parts(asked: argparse.Namespace) -> dict[str, Callable[[], Iterable[Row]]]:
    """Return how the rows of each part are taken."""
    from tests.bench import memory, quality, shares, speed  # noqa: PLC0415 (the judges take a while to load)

    return {
        "speed": lambda: speed.rows(asked.rounds, asked.frames),
        "memory": lambda: memory.rows(full=asked.full, frames=asked.frames),
        "shares": shares.rows,
        "quality": quality.rows,
        **{name: lambda name=name: rows_of(name) for name in OTHERS},  # type: ignore[misc] # name is bound here
    }


def rows_of(name: str) -> Iterable[Row]:
    """Return the rows of a module of this folder; pytest.skip where there is none."""
    if importlib.util.find_spec(f"tests.bench.{name}") is None:
        pytest.skip("not measured here")
    rows: Iterable[Row] = importlib.import_module(f"tests.bench.{name}").rows()
    return rows


def machine() -> Iterator[str]:
    """Yield what the figures were taken on: processor, cores, memory, system, versions."""
    model = [
        line.partition(":")[2].strip()
        for line in (
            Path("/proc/cpuinfo").read_text(encoding="utf-8") if Path("/proc/cpuinfo").exists() else ""
        ).splitlines()
        if line.startswith("model name")
    ]
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    yield f"{(model or [platform.machine()])[0]}, {os.cpu_count()} cores, {memory:.0f} GiB, {platform.system()}"
    yield f"Python {platform.python_version()}, " + ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    yield f"load before the run {os.getloadavg()[0]:.1f}"


def main() -> int:
    """Print the table row by row as it is measured; return the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"only these of {', '.join(PARTS)}")
    parser.add_argument("--full", action="store_true", help="120 frames too")
    parser.add_argument(
        "--rounds", type=int, default=ROUNDS, metavar="N", help=f"how often each way (default: {ROUNDS})"
    )
    parser.add_argument("--frames", type=int, metavar="N", help="so many frames, to try")
    asked = parser.parse_args()
    if unknown := set(asked.parts) - set(PARTS):
        parser.error(f"no part {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    began, count, missed, left_out = time.monotonic(), 0, 0, []
    print("\n".join(machine()) + "\n\n" + heading())
    for name, rows in parts(asked).items():
        if asked.parts and name not in asked.parts:
            continue
        try:
            for row in rows():
                print(row, flush=True)
                count, missed = count + 1, missed + (not row.holds)
        except pytest.skip.Exception as reason:
            left_out.append(f"{name}: {reason}")
    print(f"\n{count} figures, {missed} miss their bound; {time.monotonic() - began:.0f} s")
    for sentence in left_out:
        print(f"left out, {sentence}")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
