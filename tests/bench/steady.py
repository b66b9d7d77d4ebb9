"""Whether a frame takes as long late in a long export as early, whatever else the machine does meanwhile.

The long export runs beside short ones of the same photographs, one after the other, each a new process; both have one
worker, so that neither waits for the other. What slows the machine down slows both; what a long run gathers slows the
long one alone.
"""

from __future__ import annotations

import shutil
import subprocess
import time
from itertools import pairwise
from statistics import mean
from typing import TYPE_CHECKING

from tests.bench.shoot import JOB, lay_out
from tests.bench.speed import export_command
from tests.bench.spent import as_installed
from tests.bench.table import Row
from tests.quality.figure import between

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from tests.bench.shoot import Shoot

    Span = tuple[float, float]

SAME = 0.10  # more or less than this is not the same
TURN = 12  # photographs repeat after so many frames; a short export is of one turn


def rows(place: Path, frames: int) -> Iterator[Row]:
    """Yield how the time of a frame grows in an export of so many; its files go below `place`."""
    many, few = lay_out(JOB, place / "long", frames), lay_out(JOB, place / "short", TURN)
    out = place / "out-long"
    beside = _run_beside(export_command(many.job, out, workers=1), few, place / "out-short")
    early, late = halves(ended(many, out), TURN)
    grew = grown((early, late), beside)
    alone = f"{_pace(late):.2f} s by {_pace(early):.2f} s; runs of {TURN} frames beside it: " + " by ".join(
        f"{mean_within(beside, _span(half)):.1f} s" for half in (late, early)
    )
    what = (
        f"{frames} frames: time a frame in the second half, by that in the first, and by that of short runs beside it"
    )
    yield Row(what, grew, between(1 - SAME, 1 + SAME), alone)


def _run_beside(command: Sequence[str], few: Shoot, out: Path) -> list[Span]:
    """Run a command; return when the exports of a small shoot, begun one after the other beside it, began and ended."""
    spans: list[Span] = []
    with subprocess.Popen(command, env=as_installed()) as running:
        while running.poll() is None:
            began = time.time()
            subprocess.run(export_command(few.job, out, workers=1), env=as_installed(), check=True)
            spans.append((began, time.time()))
            shutil.rmtree(out)
    if running.returncode:
        raise subprocess.CalledProcessError(running.returncode, list(command))
    return spans


def ended(shoot: Shoot, out: Path) -> list[float]:
    """Return when each frame was done, from the first on: when the last of its pictures was written."""
    return sorted(max(one.out.stat().st_mtime for one in wanted) for wanted in shoot.wanted(out).values())


def halves(times: Sequence[float], turn: int) -> tuple[Sequence[float], Sequence[float]]:
    """Return the ends of frames in both halves of a run, each with the end before its first frame.

    The first frames wait for their workers to begin, so the first whole `turn` (of photographs that take different
    times) is left out; both halves are of whole turns. ValueError where there are too few.
    """
    half = (len(times) - turn) // (2 * turn) * turn
    if half < 1:
        raise ValueError(f"{len(times)} frames are too few: write {3 * turn} or more")
    return times[turn - 1 : turn + half], times[-half - 1 :]


def grown(halves: tuple[Sequence[float], Sequence[float]], beside: Sequence[Span]) -> float:
    """Return how many times as long a frame takes in the second half, by how many times as long runs beside it take."""
    early, late = halves
    machine = mean_within(beside, _span(late)) / mean_within(beside, _span(early))
    return _pace(late) / _pace(early) / machine


def mean_within(runs: Sequence[Span], span: Span) -> float:
    """Return how long runs take that lie wholly in a span of time. ValueError where none does."""
    took = [end - began for began, end in runs if span[0] <= began and end <= span[1]]
    if not took:
        raise ValueError("no run beside it lies in a half: write more frames")
    return mean(took)


def _pace(half: Sequence[float]) -> float:
    return mean(later - sooner for sooner, later in pairwise(half))


def _span(half: Sequence[float]) -> Span:
    return half[0], half[-1]
