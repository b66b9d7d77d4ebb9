"""How much memory an export takes, all its processes together, and whether either grows with the number of frames."""

from __future__ import annotations

import tempfile
from itertools import pairwise
from pathlib import Path
from statistics import mean
from typing import TYPE_CHECKING

from tests.bench.shoot import JOB, PROCESSES, lay_out
from tests.bench.speed import export_command
from tests.bench.spent import peak_memory
from tests.bench.table import Row
from tests.quality.figure import at_most, between

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from tests.bench.shoot import Shoot

FEW, MANY = 12, 120
MOST_GB, GIGA = 1.2, 1e9
SAME = 0.10  # more or less than this is not the same
PHOTOGRAPHS_IN_TURN = 12  # frames repeat after so many


def rows(*, full: bool, frames: int | None = None) -> Iterator[Row]:
    """Yield the rows of memory; `full` those of many frames too, `frames` takes fewer, to try."""
    few = frames or FEW
    with tempfile.TemporaryDirectory(prefix="plateline-bench-") as folder:
        place = Path(folder)
        shoot = lay_out(JOB, place / "few", few)
        held = peak_memory(export_command(shoot.job, place / "out-few"))
        what = f"{few} frames of 24 MP, {PROCESSES} workers: memory of all processes at its peak"
        yield Row(what, held / GIGA, at_most(MOST_GB, "GB"), "proportional set size, the most of any look")
        if full:
            yield from _of_many(place, few, held)


def _of_many(place: Path, few: int, held_by_few: int) -> Iterator[Row]:
    many = few * MANY // FEW
    shoot, out = lay_out(JOB, place / "many", many), place / "out-many"
    held = peak_memory(export_command(shoot.job, out))
    what = f"{many} frames: memory of all processes at its peak"
    yield Row(what, held / GIGA, at_most(MOST_GB, "GB"), "as above")
    yield Row(f"the same, by that of {few} frames", held / held_by_few, at_most(1 + SAME))
    early, late = early_and_late(ended(shoot, out), PHOTOGRAPHS_IN_TURN)
    what = f"{many} frames: time a frame in the second half, by that in the first"
    yield Row(what, late / early, between(1 - SAME, 1 + SAME), f"{late:.2f} s by {early:.2f} s")


def ended(shoot: Shoot, out: Path) -> list[float]:
    """Return when each frame was done, from the first on: when the last of its pictures was written."""
    return sorted(max(one.out.stat().st_mtime for one in wanted) for wanted in shoot.wanted(out).values())


def early_and_late(times: Sequence[float], turn: int) -> tuple[float, float]:
    """Return the mean seconds between one frame's end and the next, in the first and in the second half of all.

    The first frames wait for their workers to begin, so the first whole `turn` (of photographs that take different
    times) is left out; both halves are of whole turns. ValueError where there are too few.
    """
    between_ends = [later - sooner for sooner, later in pairwise(times)][turn - 1 :]
    half = len(between_ends) // (2 * turn) * turn
    if not half:
        raise ValueError(f"{len(times)} frames are too few: write {3 * turn} or more")
    return mean(between_ends[:half]), mean(between_ends[-half:])
