"""docs/inspection.md: every threshold, every measure of every picture, the bounds, and how long a look takes."""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.inspection.show import number
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.subjects import SAMPLE
from tests.quality.figure import Figure, at_most, heading, line, row
from tests.quality.inspection import (
    FAULTY,
    HOUSE,
    STEP,
    TRUE,
    Looked,
    figures,
    others,
    packaged,
    sample_looked,
    sample_without_exif,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

COLUMNS = 5  # pictures side by side
TEXT = """\
# Inspection: what it measures, and how right it is

Made by `python -m tests.quality.inspection > docs/inspection.md`; the figures are those of one run.
`plateline inspect JOB` looks at each frame once, upright, in linear light, and says what a demanding picture editor
would: a **fault** speaks against publishing the frame as it is, a **note** is worth knowing. It calls no frame the
best, and throws none away.
"""
THRESHOLDS = """
## Thresholds

All that a frame is judged by. A job changes any of them by name, within its range:

    [inspection]
    sure_subject = 0.7
"""
BOUNDS = """
## What it must keep
"""
FOUND = """
## What was found

The sample is looked at as its job has it (a tripod for all of it, `action = true` for the pour), and again as copies
that exiftool took all Exif out of. Of what is no photograph (slides, pages, a drawing) the faults are true of its
pixels.
"""
MEASURES = """
## Every measure of every picture

Shares are of 1; px are original pixels. A measure that is missing could not be taken: no line, no rim, no Exif.
"""


def main() -> int:
    """Print the page; return 1 where a bound is missed."""
    print(TEXT, end="")
    bounds = [*figures(full=True), _time()]
    print(BOUNDS)
    print(heading())
    for figure in bounds:
        print(row(figure))
    print(THRESHOLDS)
    print(*_thresholds(), sep="\n")
    print(FOUND)
    print(*_found(), sep="\n")
    print(MEASURES, end="")
    for title, looked in (("Sample", sample_looked()), ("Photographs", packaged()), ("No photographs", others())):
        print(f"\n### {title}")
        for start in range(0, len(looked), COLUMNS):
            print()
            print(*_measures(looked[start : start + COLUMNS]), sep="\n")
    missed = [str(figure) for figure in bounds if not figure.holds]
    print(*missed, sep="\n", file=sys.stderr)
    return 1 if missed else 0


def _thresholds() -> Iterator[str]:
    yield line(("name", "value", "unit", "from", "to", "what it is", "source"))
    yield line("---" for _ in range(7))
    for name, one in house_thresholds().items():
        numbers = (f"{one.value:.4g}", one.unit, f"{one.least:g}", f"{one.most:g}")
        yield line((f"`{name}`", *numbers, one.about, one.source))


def _found() -> Iterator[str]:
    yield line(("picture", "wrong with it", "faults told", "without Exif", "notes"))
    yield line("---" for _ in range(5))
    for one, bare in zip(sample_looked(), sample_without_exif(), strict=True):
        wrong = FAULTY.get(one.name, "")
        yield line(
            (one.name.removeprefix("selects/"), wrong, _rules(one.faults), _rules(bare.faults), _rules(one.notes))
        )
    for one in packaged():
        wrong = " or ".join(sorted(TRUE.get(one.name, ())))
        yield line((one.name, wrong, _rules(one.faults), "", _rules(one.notes)))
    for one in others():
        yield line((one.name, "no photograph", _rules(one.faults), "", _rules(one.notes)))


def _rules(names: Iterable[str]) -> str:
    return ", ".join(sorted(names))


def _measures(looked: Sequence[Looked]) -> Iterator[str]:
    tables = [dict(one.inspection.measures) for one in looked]
    yield line(("measure", *(one.name.removeprefix("selects/") for one in looked)))
    yield line("---" for _ in range(len(looked) + 1))
    for name in dict.fromkeys(name for table in tables for name in table):
        yield line((f"`{name}`", *(number(table[name], "") if name in table else "" for table in tables)))


def _time() -> Figure:
    """Measure `inspect` and `export` of the sample one after the other, each in an empty folder, two workers."""
    with tempfile.TemporaryDirectory() as folder:
        away = Path(folder) / "shoot"
        shutil.copytree(SAMPLE, away, ignore=shutil.ignore_patterns("out", "replies"))
        spent = {verb: _spent(verb, away / "job.toml", Path(folder) / verb) for verb in ("inspect", "export")}
    (looked, busy), (made, busy_making) = spent["inspect"], spent["export"]
    beside = f"{looked:.1f} s against {made:.1f} s; of processor time {busy / busy_making:.2f}"
    what = "time of `inspect` on the sample as a share of that of `export`, in one run"
    return Figure(STEP, what, looked / made, at_most(0.4), HOUSE, "the clock", beside)


def _spent(verb: str, job: Path, out: Path) -> tuple[float, float]:
    """Return the seconds on the wall and on the processors."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    began = time.monotonic()
    command = [sys.executable, "-m", "pipeline", verb, str(job), "--out", str(out), "--workers", "2", "--quiet"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    wall = time.monotonic() - began
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
