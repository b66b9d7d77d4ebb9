"""Inspection: the sample's faults named, also without Exif, no false ones, subjects found; and docs/inspection.md.

`python -m tests.quality.inspection > docs/inspection.md` measures all of it and writes the page; exit code 1 where a
bound is missed.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.inspection.known import told
from pipeline.frames.inspection.inspect import inspect_frame
from pipeline.frames.inspection.told import Told
from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.job.read import read_job
from pipeline.light.box import Point, Region
from pipeline.light.overlap import overlap
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.subjects import SAMPLE, SHIPPED, composites, sample_marks
from tests.frames.inspection.test_subject import MIDDLE, Score, inside, score
from tests.quality.figure import Figure, at_least, at_most, exactly
from tests.quality.figure import told as told_beside

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pipeline.frames.inspection.values import Inspection, Proposal

STEP = "inspection"
HOUSE, MARKS = "house promise", "marks made before"
LIMIT = 10**9  # pixels
# What is wrong with the sample's frames, by the name of the rule that says so. SOURCES.toml says how each was made.
FAULTY = {
    "selects/oil-pour.jpg": "motion",
    "selects/missed-focus.jpg": "focus",
    "selects/overexposed.jpg": "burnt out",
    "selects/warm-bulb.jpg": "cast",
}
FROM_EXIF = {"selects/oil-pour.jpg": {"slow for action"}}  # true besides, where the shutter is known
LYING = "selects/portrait-bread.jpg"  # without Exif nobody knows that it should stand

# Photographs that packages ship. Judged by eye, one has a fault: the camera was moved on purpose while it was taken.
PHOTOGRAPHS = (
    *(("skimage.data", f"{name}.png") for name in ("astronaut", "brick", "camera", "chelsea", "clock_motion")),
    *(("skimage.data", f"{name}.png") for name in ("coffee", "coins", "grass", "gravel", "moon")),
    *(("skimage.data", f"motorcycle_{side}.png") for side in ("left", "right")),
    *(("skimage.data", f"{name}.jpg") for name in ("hubble_deep_field", "rocket")),
    *(("sklearn.datasets.images", f"{name}.jpg") for name in ("china", "flower")),
)
TRUE = {"clock_motion.png": {"shake", "motion"}}  # before a plain wall nobody can tell which of the two moved
# What else the package ships is no photograph by a camera's lens: a drawing, pages, slides, an eye's retina.
HORSE = ("skimage.data", "horse.png")
OTHERS = (
    ("skimage.data", "cell.png"),
    HORSE,
    ("skimage.data", "ihc.png"),
    ("skimage.data", "microaneurysms.png"),
    ("skimage.data", "page.png"),
    ("skimage.data", "retina.jpg"),
    ("skimage.data", "text.png"),
)


@dataclass(frozen=True, slots=True)
class Looked:
    """One picture that was looked at."""

    name: str
    inspection: Inspection

    @property
    def faults(self) -> set[str]:
        """Return the rules that a fault was told by."""
        return {one.rule for one in self.inspection.findings if one.level == "fault"}

    @property
    def notes(self) -> list[str]:
        """Return the rules of the notes."""
        return [one.rule for one in self.inspection.findings if one.level == "note"]


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure the sample and the packaged photographs; with `full` every composite as well."""
    yield from _sample_figures(sample_looked(), "")
    yield from _sample_figures(sample_without_exif(), ", all Exif removed by exiftool")
    looked = packaged()
    false = {one.name: extra for one in looked if (extra := one.faults - TRUE.get(one.name, set()))}
    yield Figure(
        STEP, f"faults told of {len(looked)} photographs that packages ship, and that are not there",
        sum(map(len, false.values())), exactly(0), HOUSE, "judged by eye", "; ".join(map(str, false.items())),
    )  # fmt: skip
    missed = [one.name for one in looked if one.name in TRUE and not one.faults & TRUE[one.name]]
    yield Figure(
        STEP, "faults of theirs that are missed", len(missed), exactly(0), HOUSE, "judged by eye", ", ".join(missed)
    )
    yield from _all_subject_figures(full=full)


def _all_subject_figures(*, full: bool) -> Iterator[Figure]:
    drawn = list(composites(1 if full else 8))
    marked = {name: box for name, (_, box) in SHIPPED.items()}
    seen = {one.name: one.inspection.proposal for one in (*packaged(), _packaged(HORSE))}
    of_sample = {one.name: one.inspection.proposal for one in sample_looked()}
    groups = {
        "sample frames": (of_proposals(sample_marks(), of_sample), len(of_sample)),
        "photographs": (of_proposals(marked, seen), len(marked)),
        "composites": (score(drawn), len(drawn)),
    }
    for kind, (found, count) in groups.items():
        yield from _subject_figures(f"{count} {kind}", found)
    everything = sum(count for _, count in groups.values())
    asked = sum(found.asked * count for found, count in groups.values()) / everything
    yield Figure(STEP, f"asked to point, of all {everything}", 100 * asked, at_most(15, "%"), HOUSE, MARKS)


def _subject_figures(kind: str, found: Score) -> Iterator[Figure]:
    for what, share, guess, least in (
        ("subject inside its mark", found.point, found.centre_point, 85),
        ("keep box more than half common with its mark", found.box, found.centre_box, 70),
    ):
        yield Figure(
            STEP, f"{kind}: {what}", 100 * share, at_least(least, "%"), HOUSE, MARKS,
            f"a guess at the centre: {100 * guess:.0f} %",
        )  # fmt: skip
    yield Figure(STEP, f"{kind}: asked to point", 100 * found.asked, told_beside("%"), "", "")


def _sample_figures(looked: Iterable[Looked], how: str) -> Iterator[Figure]:
    by_name = {one.name: one for one in looked}
    named = [name for name, fault in FAULTY.items() if fault in by_name[name].faults]
    yield Figure(
        STEP, f"sample frames named with their fault{how}", len(named), exactly(len(FAULTY)), HOUSE, "SOURCES.toml"
    )
    false = {
        name: extra
        for name, one in by_name.items()
        if (extra := one.faults - {FAULTY.get(name)} - (set() if how else FROM_EXIF.get(name, set())))
    }
    yield Figure(
        STEP, f"faults told of sample frames that are not there{how}", sum(map(len, false.values())), exactly(0), HOUSE,
        "SOURCES.toml", "; ".join(map(str, false.items())),
    )  # fmt: skip


@cache
def sample_looked() -> tuple[Looked, ...]:
    """Look at the sample's frames as their job has them."""
    job = read_job(SAMPLE / "job.toml")
    return tuple(Looked(asked.entry.file, look(asked.path, told(job, asked))) for asked in job.frames)


@cache
def sample_without_exif() -> tuple[Looked, ...]:
    """Look at copies without any word of the camera. Raises pytest's Skipped where exiftool is missing."""
    job = read_job(SAMPLE / "job.toml")
    with tempfile.TemporaryDirectory() as folder:
        looked = []
        for asked in job.frames:
            copy = Path(folder) / asked.path.name
            shutil.copyfile(asked.path, copy)
            strip(copy)
            what = told(job, asked)
            what = Told(what.view, what.subject, what.keep)
            looked.append(Looked(asked.entry.file, look(copy, lying(what) if asked.entry.file == LYING else what)))
    return tuple(looked)


def strip(path: Path) -> None:
    """Remove all Exif from a file, as far as a TIFF can be without; the ICC profile stays."""
    command = shutil.which("exiftool")
    if command is None:
        pytest.skip("judge missing: exiftool")
    everything = ["-exif:all=", "-xmp:all=", "-iptc:all="]
    of_tiff = ["-ExifIFD:all=", "-GPS:all=", "-IFD0:Make=", "-IFD0:Model=", "-IFD0:Orientation="]
    chosen = everything if path.suffix == ".jpg" else of_tiff
    subprocess.run([command, "-q", "-overwrite_original", *chosen, str(path)], check=True)
    camera = read_header(path, name=path.name, pixel_limit=LIMIT).camera
    known = (camera.exposure_s, camera.f_number, camera.iso, camera.focal_mm, camera.make, camera.taken)
    if any(value is not None for value in known):
        raise AssertionError(f"{path.name} still has Exif: {known}")


def lying(what: Told) -> Told:
    """Return what is told of a frame that should be turned a quarter clockwise, and is not."""
    if what.subject is None or what.keep is None:
        raise AssertionError("the sample's job names both")
    keep = what.keep
    box = Region(keep.top, 1 - keep.right, keep.bottom, 1 - keep.left)
    return Told(None, Point(what.subject.y, 1 - what.subject.x), box)


@cache
def packaged() -> tuple[Looked, ...]:
    """Look at the photographs that packages ship; where the subject is, is left to be found."""
    return tuple(_packaged(one) for one in PHOTOGRAPHS)


@cache
def others() -> tuple[Looked, ...]:
    """Look at what is no photograph."""
    return tuple(_packaged(one) for one in OTHERS)


def _packaged(one: tuple[str, str]) -> Looked:
    package, name = one
    with as_file(files(package) / name) as path:
        return Looked(name, look(path, Told()))


def look(path: Path, what: Told) -> Inspection:
    """Return what looking at a picture's file gives."""
    header = read_header(path, name=path.name, pixel_limit=LIMIT)
    return inspect_frame(header, decode(header, name=path.name), what, house_thresholds())


def of_proposals(marks: Mapping[str, Region], found: Mapping[str, Proposal | None]) -> Score:
    """Return how well subjects were found, by the pictures' names: None is where she was asked to point."""
    sure = [(box, proposal) for name, box in marks.items() if (proposal := found[name])]
    return Score(
        asked=1 - len(sure) / len(marks),
        point=_share(inside(box, one.subject.x, one.subject.y) for box, one in sure),
        box=_share(overlap(box, one.keep) > 0.5 for box, one in sure),
        centre_point=_share(inside(box, 0.5, 0.5) for box in marks.values()),
        centre_box=_share(overlap(box, MIDDLE) > 0.5 for box in marks.values()),
    )


def _share(values: Iterable[bool]) -> float:
    held = list(values)
    return sum(held) / len(held)


if __name__ == "__main__":
    from tests.quality.inspection_page import main

    sys.exit(main())
