"""What a cluster costs beside processes of this machine: the same export at equal cores, side by side.

Whole command against whole command, in turns, and the least of each: two processes of this machine, and two workers of
a Dask scheduler on the loopback, which have worked before, as those of a cluster have.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import psutil

from pipeline.light.box import Size
from tests.bench.frames import frame_light, write_frame
from tests.bench.spent import Spent, spent
from tests.bench.table import Row
from tests.deliver.cluster.running import scheduler, workers
from tests.quality.figure import at_most
from tests.small_shoot import own_target

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

FRAMES, SIZE, TURNS, CORES = 10, Size(3600, 2400), 3, 2
MOST = 1.15


def rows() -> list[Row]:
    """Return the rows of the bench: wall and processor time of a cluster by those of one machine."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        job = _shoot(folder)
        with scheduler(folder) as (address, process), workers(address, folder, CORES) as pids:
            others = [psutil.Process(pid) for pid in (process.pid, *pids)]
            far = ["--scheduler", address]
            _export(job, far, others)  # libraries are loaded, files are in memory
            taken = [(_export(job, ["--workers", str(CORES)], []), _export(job, far, others)) for _ in range(TURNS)]
    here, there = zip(*taken, strict=True)
    return [
        _row("wall", lambda one: one.wall_s, here, there),
        _row("processor", lambda one: one.cpu_s, here, there),
    ]


def _row(kind: str, time_of: Callable[[Spent], float], here: Iterable[Spent], there: Iterable[Spent]) -> Row:
    local, cluster = min(map(time_of, here)), min(map(time_of, there))
    what = f"an export on a cluster of {CORES} workers, by {CORES} processes here: {kind} time"
    return Row(what, cluster / local, at_most(MOST), f"{cluster:.2f} s; {local:.2f} s; the least of {TURNS}")


def _shoot(folder: Path) -> Path:
    target = own_target(ratio="4:5", widths=[600, 1080, 1600])
    text = f'profiles = ["blog"]\n[shoot]\ntitle = "Soup"\ntargets = ["blog/tall"]\n[targets."blog/tall"]{target}'
    light = frame_light("coffee", SIZE)
    for number in range(FRAMES):
        frame = write_frame(folder / f"f{number}.jpg", light[:, : SIZE.width - 2 * number], "jpeg", "srgb")
        text += f'[[frames]]\nfile = "{frame.name}"\nsubject = [0.5, 0.5]\nalt = "Soup"\n'
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def _export(job: Path, words: list[str], others: list[psutil.Process]) -> Spent:
    """Run a whole export into a new folder; `others` are processes that work for it and live on."""
    before = sum(map(_process_s, others))
    took = spent([sys.executable, "-m", "pipeline", "export", str(job), "--quiet", *words])
    shutil.rmtree(job.parent / "out")
    return Spent(took.wall_s, took.cpu_s + sum(map(_process_s, others)) - before)


def _process_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)
