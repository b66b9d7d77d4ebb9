"""`python -m tests.bench [--full] [PART ...]` measures speed and memory, and prints the table.

Ratios are taken side by side in one run. Exit code 1 where a figure misses its bound. `--full` adds 120 frames.
`--frames N --rounds 1` is for trying: fewer frames, and figures that say little. `--write` puts the table into
DEVELOPERS.md; `--cost` writes docs/cost.md instead.
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

from tests.bench.table import heading, missed
from tests.quality.encoding import replaced

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from tests.bench.table import Row

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
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
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text(encoding="utf-8").splitlines() if cpuinfo.exists() else []
    model = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
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
    parser.add_argument(
        "--cost", action="store_true", help="write docs/cost.md instead: what a shoot costs as it grows"
    )
    parser.add_argument("--write", action="store_true", help=f"put the table into {DEVELOPERS.name}")
    asked = parser.parse_args()
    if asked.write and (asked.parts or asked.frames):
        parser.error("--write is for a whole run: leave out parts and --frames")
    if unknown := set(asked.parts) - set(PARTS):
        parser.error(f"no part {', '.join(sorted(unknown))}; there are {', '.join(PARTS)}")
    if asked.cost:
        from tests.bench import cost  # noqa: PLC0415 (as in `parts`)

        cost.write(tuple(machine()), asked.frames)
        return 0
    began, found, left_out = time.monotonic(), [], []
    above = "  \n".join(machine()) + "\n\n" + heading()
    print(above)
    for name, rows in parts(asked).items():
        if asked.parts and name not in asked.parts:
            continue
        try:
            for row in rows():
                print(row, flush=True)
                found.append(row)
        except pytest.skip.Exception as reason:
            left_out.append(f"{name}: {reason}")
    misses = len(missed(found))
    print(f"\n{len(found)} figures, {misses} miss their bound; {time.monotonic() - began:.0f} s")
    for sentence in left_out:
        print(f"left out, {sentence}")
    if asked.write:
        table = "\n".join([above, *map(str, found)])
        DEVELOPERS.write_text(replaced(DEVELOPERS.read_text(encoding="utf-8"), "bench", table), encoding="utf-8")
    return 1 if misses else 0


if __name__ == "__main__":
    sys.exit(main())
