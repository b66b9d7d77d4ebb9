"""How much memory an export takes, all its processes together, and whether that or its time grows with the frames."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from tests.bench import steady
from tests.bench.shoot import JOB, PROCESSES, lay_out
from tests.bench.speed import export_command
from tests.bench.spent import peak_memory
from tests.bench.table import Row
from tests.quality.figure import at_most

if TYPE_CHECKING:
    from collections.abc import Iterator

FEW, MANY = 12, 120
MOST_GB, GIGA = 1.2, 1e9


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
    shoot = lay_out(JOB, place / "many", many)
    held = peak_memory(export_command(shoot.job, place / "out-many"))
    what = f"{many} frames: memory of all processes at its peak"
    yield Row(what, held / GIGA, at_most(MOST_GB, "GB"), "as above")
    yield Row(f"the same, by that of {few} frames", held / held_by_few, at_most(1 + steady.SAME))
    yield from steady.rows(place / "steady", many)
