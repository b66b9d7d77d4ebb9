"""What is known of looks at frames: the key that a look is kept under, and what an earlier run found."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from pipeline.faults import RequestRefused
from pipeline.frames.inspection.told import VERSION, Told
from pipeline.ledger.book import has_inspected, read_digests, read_inspected
from pipeline.ledger.inspected import Looked
from pipeline.ledger.keys import key

if TYPE_CHECKING:
    from collections.abc import Callable, Collection
    from pathlib import Path

    from pipeline.frames.inspection.values import Inspection
    from pipeline.job.job import AskedFrame, Job
    from pipeline.light.thresholds import Thresholds


def told(job: Job, asked: AskedFrame) -> Told:
    """Return what the job says of a frame that changes how it is looked at."""
    entry = asked.entry
    subject = None if asked.to_find else asked.subject
    tripod = job.shoot.tripod if entry.tripod is None else entry.tripod
    return Told(entry.view, subject, asked.keep, entry.action, tripod)


def look(sha256: str, what: Told, thresholds: Thresholds) -> Looked:
    """Return what a look at a frame is kept under: its content, and all that decides what is found in it."""
    values = {name: one.value for name, one in thresholds.items()}
    return Looked(sha256, key("inspection", VERSION, what, values))


def known_inspections(job: Job, readable: Collection[str], out: Path) -> dict[str, Inspection]:
    """Return what an earlier run found, by slug, for the frames as they are now. Writes nothing.

    Frames are read only where the ledger of `out` knows some look but not their content. What is no ledger of ours
    knows nothing; that is told where it is written to.
    """
    try:
        if not has_inspected(out):
            return {}
        looks = _looks(job, readable, read_digests(out))
        found = read_inspected(out, looks.values())
    except RequestRefused:
        return {}
    return {slug: found[one] for slug, one in looks.items() if one in found}


def _looks(job: Job, readable: Collection[str], digest: Callable[[Path], str]) -> dict[str, Looked]:
    looks: dict[str, Looked] = {}
    for asked in job.frames:
        if asked.slug in readable:
            with contextlib.suppress(OSError):  # told where it is decoded
                looks[asked.slug] = look(digest(asked.path), told(job, asked), job.thresholds)
    return looks
