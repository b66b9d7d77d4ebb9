"""What a shoot costs as it grows: time, memory and bytes by frames, megapixels, targets and workers; docs/cost.md.

Every row is one whole export into an empty folder. What 100,000 frames would cost is worked out from a straight line
through the times by frames: what a run costs to begin, and what each further frame adds.
"""

from __future__ import annotations

import math
import os
import statistics
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.light.box import Size
from tests.bench.plot import Plot, svg
from tests.bench.shoot import JOB, lay_out
from tests.bench.speed import export_command
from tests.bench.spent import memory_of_children, spent
from tests.quality.figure import line, number

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence

DOCS = Path(__file__).parents[2] / "docs"
PAGE = DOCS / "cost.md"
PICTURES = DOCS / "cost"

CAMERA_MP = 24
SIZES = {6: Size(3000, 2000), 12: Size(4200, 2800), CAMERA_MP: Size(6000, 4000), 45: Size(8200, 5468)}
TEN = ("w1080", "w1200", "w1280", "w1440", "w1600", "w1800", "w2000", "w2160", "w2400", "webp")
FOUR = ("w1080", "w1200", "w1280", "webp")  # those that 6 megapixels are enough for
FRAMES_TOLD = (1, 3, 6, 12, 24)
TARGETS_TOLD = (1, 2, 5, 10)
FRAMES = 6  # where something else grows
MANY = 100_000
DAY_S, GIGA = 86_400, 1e9
MACHINES_WITHIN_H = (1, 8, 24, 168)


@dataclass(frozen=True, slots=True)
class Case:
    """One export: so many frames, of so many megapixels, with these targets, by so many workers."""

    frames: int
    megapixels: int
    targets: tuple[str, ...]
    workers: int


@dataclass(frozen=True, slots=True)
class Cost:
    """What a case came to: seconds on the clock and of processors, bytes held at once and bytes delivered."""

    case: Case
    wall_s: float
    cpu_s: float
    held: int
    delivered: int


Axis = tuple[str, "Callable[[Case], float]", tuple[Case, ...]]


def axes(workers: int, most: int | None = None) -> tuple[Axis, ...]:
    """Return what grows, one thing at a time: its name, its number in a case, and the cases; `most` frames, to try."""
    frames = min(FRAMES, most or FRAMES)
    counts = FRAMES_TOLD if most is None else (1, most)
    by_workers = sorted({1, workers, *(2**power for power in range(8) if 2**power < workers)})
    return (
        ("frames", lambda one: one.frames, tuple(Case(count, CAMERA_MP, TEN, workers) for count in counts)),
        ("megapixels", lambda one: one.megapixels, tuple(Case(frames, size, FOUR, workers) for size in SIZES)),
        (
            "targets",
            lambda one: len(one.targets),
            tuple(Case(frames, CAMERA_MP, TEN[:count], workers) for count in TARGETS_TOLD),
        ),
        ("workers", lambda one: one.workers, tuple(Case(frames, CAMERA_MP, TEN, count) for count in by_workers)),
    )


def measured(case: Case) -> Cost:
    """Export a case and return what it cost."""
    with tempfile.TemporaryDirectory(prefix="plateline-cost-") as folder:
        place = Path(folder)
        job = lay_out(JOB, place / "shoot", case.frames, SIZES[case.megapixels], case.targets).job
        out = place / "out"
        with memory_of_children() as held:
            took = spent(export_command(job, out, case.workers))
        delivered = sum(file.stat().st_size for file in (out / "bench").iterdir())
        return Cost(case, took.wall_s, took.cpu_s, held.most, delivered)


def fitted(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Return begin and slope of the straight line through points by least squares."""
    across, up = zip(*points, strict=True)
    slope, begin = statistics.linear_regression(across, up)
    return begin, slope


def page(found: dict[str, list[Cost]], machine: Iterable[str]) -> tuple[str, dict[str, str]]:
    """Return the page and its pictures by file name, from the costs by what grows."""
    pictures, parts = {}, [HEAD.format(machine="  \n".join(machine))]
    for name, value_of, _ in axes(1):
        costs = found[name]
        times = tuple((value_of(one.case), one.wall_s) for one in costs)
        memory = tuple((value_of(one.case), one.held / GIGA) for one in costs)
        through = fitted(times) if name == "frames" else None
        pictures[f"time-by-{name}.svg"] = svg(Plot(f"Time by {name}", name, "s", times, through))
        pictures[f"memory-by-{name}.svg"] = svg(Plot(f"Memory by {name}", name, "GB", memory))
        parts.append(f"## By {name}\n\n{INTRODUCTIONS[name]}\n")
        parts.append(f"![Time by {name}](cost/time-by-{name}.svg) ![Memory by {name}](cost/memory-by-{name}.svg)\n")
        parts += [*_table(name, value_of, costs), ""]
    parts += _of_many(found["frames"])
    return "\n".join(parts), pictures


HEAD = """\
# What a shoot costs

Measured, each row one whole export into an empty folder with everything that belongs to it (previews, contact sheet,
metadata, manifest, the code for the post): `python -m tests.bench --cost` makes this page and its pictures anew.
The job is that of the bench: frames of 24 megapixels, ten renditions each from 1080 to 2400 px wide, plain JPEG and one
WebP. AVIF, JPEG with fitted tables (what a target gets that says nothing else), `bytes_max` and `fidelity` cost more:
[encoding.md](encoding.md).

{machine}
"""
INTRODUCTIONS = {
    "frames": "The line is what a run costs to begin, and what each further frame adds.",
    "megapixels": "Six frames, four renditions each, up to 1280 px wide, which the smallest frame has room for.",
    "targets": "Six frames of 24 megapixels.",
    "workers": "Six frames of 24 megapixels, ten renditions each. More workers than cores gain nothing.",
}


def _table(name: str, value_of: Callable[[Case], float], costs: Sequence[Cost]) -> Iterator[str]:
    yield line((name, "time, s", "a frame, s", "processor time, s", "memory, GB", "delivered, MB"))
    yield line("---:" for _ in range(6))
    for one in costs:
        figures = (value_of(one.case), one.wall_s, one.wall_s / one.case.frames, one.cpu_s)
        yield line(number(each) for each in (*figures, one.held / GIGA, one.delivered / 1e6))


def _of_many(costs: Sequence[Cost]) -> Iterator[str]:
    """Yield what very many frames would cost on machines like this one."""
    begin, each = fitted([(one.case.frames, one.wall_s) for one in costs])
    _, processor = fitted([(one.case.frames, one.cpu_s) for one in costs])
    largest = max(costs, key=lambda one: one.case.frames)
    bytes_each = largest.delivered / largest.case.frames
    yield f"## {MANY:,} frames\n"
    yield (
        f"By the line above a run takes {number(begin)} s to begin and {number(each)} s for each frame on this\n"
        f"machine ({largest.case.workers} workers, {number(processor)} s of processor time a frame). Then:\n"
    )
    yield line(("what", "amount"))
    yield line(("---", "---:"))
    yield line(("one machine like this", f"{number(MANY * each / DAY_S)} days"))
    yield line(("processor time", f"{number(MANY * processor / 3600)} core hours"))
    yield line(("delivered", f"{number(MANY * bytes_each / 1e12)} TB, in {MANY * 10:,} files"))
    for hours in MACHINES_WITHIN_H:
        yield line((f"machines like this, to be done within {hours} h", f"{machines(begin, each, hours * 3600):,}"))
    yield "\nEach machine takes its own share of the shoots; nothing is shared but storage. Worked out, not measured.\n"


def machines(begin_s: float, each_s: float, within_s: float) -> int:
    """Return how many machines do `MANY` frames within a time, each with a run of its own."""
    share = math.floor((within_s - begin_s) / each_s)
    return math.ceil(MANY / share)


def write(machine: Iterable[str], most: int | None = None) -> None:
    """Measure everything and write the page with its pictures; with `most` frames, to try, the page is printed."""
    workers = os.cpu_count() or 1
    found: dict[str, list[Cost]] = {}
    known: dict[Case, Cost] = {}
    for name, value_of, cases in axes(workers, most):
        found[name] = []
        for case in cases:
            cost = known[case] = known.get(case) or measured(case)
            found[name].append(cost)
            print(f"{name} {value_of(case):g}: {cost.wall_s:.1f} s, {cost.held / GIGA:.2f} GB", flush=True)
    text, pictures = page(found, machine)
    if most is not None:
        print(text)
        return
    PICTURES.mkdir(exist_ok=True)
    PAGE.write_text(text, encoding="utf-8")
    for picture, content in pictures.items():
        (PICTURES / picture).write_text(content, encoding="utf-8")
