"""A verb whose job, frames or output folder lie in storage: it is given copies on this machine, and works on those."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.cluster.away import Away
from pipeline.deliver.storage.output import ledger_in_storage, output_in_storage
from pipeline.deliver.storage.sources import bring_frames_of, brought_job
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import SET_ASIDE
from pipeline.job.toml_file import read_tables
from pipeline.job.url import copies_of, is_url, may_name_storage, parted, without_secrets

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.deliver.storage.copies import Copies

READING, WRITING = ("check", "plan"), ("export", "sheet")


@dataclass(frozen=True, slots=True)
class Place:
    """Where a job and its output folder are on this machine. `output` is what is sent back to storage, if anything.

    `origins` are the addresses of copies that frames are read from.
    """

    jobs: tuple[Path, ...]
    out: Path | None
    output: Copies | None = None
    origins: dict[Path, str] = field(default_factory=dict)

    def away(self) -> Away:
        """Return what a worker on another machine must know of it."""
        origins = {str(copy.absolute()): url for copy, url in self.origins.items()}
        if self.output is None:
            return Away(origins)
        aside = tuple(sorted(name for name in self.output.here() if name.startswith(f"{SET_ASIDE}/")))
        return Away(origins, self.output.store.url, aside)


@contextlib.contextmanager
def at_hand(verb: str, jobs: Sequence[Path | str], out: Path | str | None) -> Iterator[Place]:
    """Give a verb places of this machine for those in storage, whose addresses are text. Raises `RequestRefused`."""
    far = [one for one in (*jobs, out) if isinstance(one, str)]
    if far and verb not in (*READING, *WRITING):
        wanted = f"only {', '.join((*READING, *WRITING))} take addresses"
        raise RequestRefused(
            *(Fault(without_secrets(one), f"{verb} works on files of this machine", wanted) for one in far)
        )
    if far and len(jobs) > 1:
        raise RequestRefused(Fault(without_secrets(far[0]), "several jobs are asked for", "export it by itself"))
    origins: dict[Path, str] = {}
    here: list[Path] = []
    for job in jobs:
        if isinstance(job, str):
            copy, found = brought_job(job)
            here.append(copy)
            origins |= found
        else:
            here.append(job)
            origins |= bring_frames_of(job) if may_name_storage(job) else {}
    if out is None and isinstance(jobs[0], str):
        out = f"{parted(jobs[0])[0]}/out"
    if isinstance(out, str) and isinstance(jobs[0], str) and copies_of(out) == copies_of(parted(jobs[0])[0]):
        wanted = "name a folder of its own with --out"
        raise RequestRefused(Fault(without_secrets(out), "the job lies in this folder", wanted))
    place = Place(tuple(here), out if isinstance(out, Path) else None, origins=origins)
    with contextlib.ExitStack() as stack:
        if isinstance(out, str):
            place = _with_output(verb, place, out, stack)
        try:
            yield place
        except RequestRefused as refused:
            raise _as_asked(refused, jobs, here, out) from None


def _with_output(verb: str, place: Place, out: str, stack: contextlib.ExitStack) -> Place:
    if verb in READING:
        return replace(place, out=ledger_in_storage(out).files)
    data = read_tables(place.jobs[0], str(place.jobs[0]))
    outlets = data.get("profiles") if isinstance(data, dict) else None
    names = [name for name in outlets if isinstance(name, str)] if isinstance(outlets, list) else []
    output = stack.enter_context(output_in_storage(out, names))
    return replace(place, out=output.files, output=output)


def _as_asked(
    refused: RequestRefused, jobs: Sequence[Path | str], here: Sequence[Path], out: Path | str | None
) -> RequestRefused:
    """Return faults that name what was asked for, not the copies of it."""
    names = {str(copy): without_secrets(job) for job, copy in zip(jobs, here, strict=True) if isinstance(job, str)}
    if isinstance(out, str) and is_url(out):
        names[str(copies_of(out) / "files")] = without_secrets(out)
    faults = list(refused.faults)
    for copy, name in names.items():
        faults = [replace(fault, file=fault.file.replace(copy, name)) for fault in faults]
    return RequestRefused(*faults)
