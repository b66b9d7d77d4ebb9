"""The way from a job file to a plan: what `check`, `plan`, `export` and `sheet` have in common."""

from __future__ import annotations

import os
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from pipeline.deliver.inspection.known import known_inspections
from pipeline.deliver.place import our_name, planned_paths, real_places
from pipeline.deliver.recall import Sources
from pipeline.faults import Fault, FrameUnreadable, RequestRefused
from pipeline.frames.read_header import read_header
from pipeline.frames.sidecar import sidecar_places
from pipeline.job.asked import matching
from pipeline.job.explain import nearest
from pipeline.job.kept_names import REPLIES
from pipeline.job.read import read_job
from pipeline.ledger.book import read_made
from pipeline.plan.build import build_plan
from pipeline.plan.inspected import with_findings, with_found_subjects

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from pipeline.frames.header import Header
    from pipeline.frames.inspection.values import Inspection
    from pipeline.job.job import Job
    from pipeline.plan.rendition import Plan


@dataclass(frozen=True, slots=True)
class Survey:
    """A checked job, the headers of its frames by slug, and the frames that cannot be read.

    `unreadable` holds the pairs too that need such a frame, and so are not in the plan. `inspected` is what an earlier
    run found by looking at the frames, by slug.
    """

    job: Job
    headers: Mapping[str, Header]
    unreadable: tuple[Fault, ...]
    inspected: Mapping[str, Inspection] = field(default_factory=dict)

    def knowing(self, out: Path) -> Survey:
        """Return it with what the ledger of `out` knows of looks at the frames; writes nothing."""
        return replace(self, inspected=known_inspections(self.job, self.headers, out))

    def sources(self, *, whole_out: bool = False) -> Sources:
        """Return all that what is said of the job comes from, beside the job file itself and the output folder."""
        frames = [asked.path for asked in self.job.frames]
        sidecars = [place for path in frames for place in sidecar_places(path)]
        folders = filter(None, (self.job.file.parent / REPLIES, self.job.profiles_folder))
        return Sources((*self.job.beside, *frames, *sidecars), tuple(folders), whole_out)

    def plan(self, delivered: Mapping[str, str]) -> Plan:
        """Return the plan; what was delivered before keeps its name. Raises `RequestRefused`."""
        job = with_found_subjects(self.job, self.headers, self.inspected)
        plan = with_findings(build_plan(job, self.headers, delivered), self.inspected)
        faults = [fault for mark in _marks(plan) if (fault := self._mark_fault(mark))]
        if faults:
            raise RequestRefused(*faults)
        return plan

    def _mark_fault(self, mark: str) -> Fault | None:
        """Return what is wrong with the words of a proof mark: a letter that our font cannot draw."""
        if mark.replace("·", "").isascii():
            return None
        from pipeline.render.mark import missing_letters  # noqa: PLC0415 (loads the font; few marks need it)

        missing = "".join(sorted(missing_letters(mark)))
        if not missing:
            return None
        wanted = "write the shoot's title and the sponsor's name in Latin, Greek or Cyrillic, or mark no target"
        return Fault(self.job.file.name, f"the proof mark cannot show {missing!r}", wanted, "shoot: title")

    def missed_by(self, pattern: str) -> Fault | None:
        """Return what is wrong with an `--only` that matches nothing that the job asks for; None where it does."""
        names = [
            f"{asked.slug}/{request.outlet}/{request.name}" for asked in self.job.frames for request in asked.requests
        ]
        names += [f"{pair.slug}/{one.outlet}/{one.name}" for pair in self.job.pairs for one, _ in pair.requests]
        if matching(names, pattern):
            return None
        wanted = f"it is matched against frame/outlet/target, such as {names[0]}"
        return Fault("--only", f"nothing in this job matches '{pattern}'", wanted, nearest=nearest(pattern, names))

    def refuse_files_in_the_way(self, plan: Plan | None, out: Path) -> None:
        """See that nothing of hers will be written over. Raises `RequestRefused` where it would be."""
        planned = real_places(out, planned_paths(plan)) if plan else {}
        hers = {os.path.realpath(asked.path): asked.place for asked in self.job.frames}
        hers |= {os.path.realpath(path): path.name for path in (self.job.file, *self.job.beside)}
        faults = [
            Fault(self.job.file.name, f"this file would be written over by {path}", "name another --out", place)
            for real, place in hers.items()
            if (path := planned.get(real) or our_name(real, out))
        ]
        if faults:
            raise RequestRefused(*faults)


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
    return Survey(job, headers, (*unreadable, *_pairs_not_made(job, headers)))


def _pairs_not_made(job: Job, headers: Mapping[str, Header]) -> Iterator[Fault]:
    """Yield each pair that is not in the plan because a frame of it cannot be read."""
    for pair in job.pairs:
        missing = dict.fromkeys(one.entry.file for one in (pair.first, pair.second) if one.slug not in headers)
        if missing:
            found = f"the picture of two '{pair.slug}' is not made, because {' and '.join(missing)} cannot be read"
            yield Fault(job.file.name, found, "mend that, or take the pair out", f"pairs[{pair.number}]")


def delivered_names(out: Path) -> dict[str, str]:
    """Return the path of each identity that was delivered to `out`; nothing where nothing was. Writes nothing there."""
    return {row.identity: row.path for row in read_made(out).values()}


def _marks(plan: Plan) -> dict[str, None]:
    """Return the words of every mark in the plan, once each, in order."""
    return dict.fromkeys(rendition.settings.mark for rendition in plan.renditions if rendition.settings.mark)
