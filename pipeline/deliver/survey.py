"""The way from a job file to a plan: what `check`, `plan`, `export` and `sheet` have in common."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.faults import FrameUnreadable
from pipeline.frames.read_header import read_header
from pipeline.job.read import read_job
from pipeline.ledger.book import FILE, Ledger
from pipeline.plan.build import build_plan

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.faults import Fault
    from pipeline.frames.header import Header
    from pipeline.job.job import Job
    from pipeline.plan.rendition import Plan


@dataclass(frozen=True, slots=True)
class Survey:
    """A checked job, the headers of its frames by slug, and the frames that cannot be read."""

    job: Job
    headers: Mapping[str, Header]
    unreadable: tuple[Fault, ...]

    def plan(self, delivered: Mapping[str, str]) -> Plan:
        """Return the plan; what was delivered before keeps its name. Raises `RequestRefused`."""
        return build_plan(self.job, self.headers, delivered)


def survey(job_file: Path) -> Survey:
    """Return a job with what its frames' headers say. Raises `RequestRefused` with every fault of the request."""
    job = read_job(job_file)
    headers: dict[str, Header] = {}
    unreadable: list[Fault] = []
    for asked in job.frames:
        try:
            headers[asked.slug] = read_header(asked.path, name=asked.entry.file, pixel_limit=job.pixel_limit)
        except FrameUnreadable as error:
            unreadable.append(error.fault)
    return Survey(job, headers, tuple(unreadable))


def delivered_names(out: Path) -> dict[str, str]:
    """Return the path of each identity that was delivered to `out`; nothing where nothing was. Writes nothing there."""
    if not (out / FILE).is_file():
        return {}
    with Ledger(out) as ledger:
        return {row.identity: row.path for row in ledger.made().values()}
