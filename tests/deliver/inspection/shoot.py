"""Shoots whose subjects are left to be found, and ledgers that know what looking at them gave."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from pipeline.deliver.inspection.known import look, told
from pipeline.deliver.inspection.run import Asked, Report, inspect
from pipeline.frames.inspection.values import Finding, Inspection, Proposal
from pipeline.job.read import read_job
from pipeline.ledger.book import Ledger
from pipeline.light.box import Point, Region
from tests.frames.inspection.subjects import composite
from tests.small_shoot import HEAD, write_job

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

AUTO = (
    HEAD
    + """
[[frames]]
file = "bowl.jpg"
subject = "auto"    # on the food
alt = "A bowl of soup"
"""
)
FAULT = Finding(
    "window", "fault", 0.125, "of the pixels", 0.02, "The window is burnt out.", "Draw a thin curtain.", "house choice"
)
NOTE = Finding("grain", "note", None, "", None, "ISO 800 shows.", "Use a tripod.", "common practice, no source")
LEANS = Finding("level", "fault", 1.9, "degrees", 1.0, "The table leans.", "Turn it.", "common practice, no source")
FOUND = Proposal(Point(0.3, 0.7), Region(0.2, 0.5, 0.45, 0.9), 0.81)
SEEN = Inspection((("clipped_share", 0.125),), (NOTE, FAULT), FOUND, None)


def picture(path: Path, number: int = 3) -> Path:
    """Save a picture with one thing in it, at a known place; return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    composite(number).picture.reduce(2).save(path, quality=92)
    return path


def remember(job: Path, seen: Mapping[str, Inspection], out: Path | None = None) -> Path:
    """Write into the ledger what looking at frames, by slug, is said to have given; return the output folder."""
    folder = out or job.parent / "out"
    folder.mkdir(exist_ok=True)
    read = read_job(job)
    frames = {asked.slug: asked for asked in read.frames}
    with Ledger(folder) as ledger:
        for slug, inspection in seen.items():
            digest = ledger.digest(frames[slug].path)
            ledger.keep_inspected({look(digest, told(read, frames[slug]), read.thresholds): inspection})
    return folder


def auto_shoot(folder: Path, text: str = AUTO) -> Path:
    """Write a job whose subject is to be found in a picture that has one; return the job file."""
    picture(folder / "bowl.jpg")
    return write_job(folder, text)


def run(job: Path, **asked: Any) -> tuple[Report, str]:  # noqa: ANN401 (the fields of Asked)
    """Inspect a job; return the report and what was told on the way."""
    told_on_the_way = io.StringIO()
    whole: dict[str, Any] = {"out": job.parent / "out", "workers": 1, **asked}
    return inspect(Asked(job, **whole), told_on_the_way), told_on_the_way.getvalue()
