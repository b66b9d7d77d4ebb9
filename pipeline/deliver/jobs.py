"""Which jobs are asked for: job files by name, and folders in which every `job.toml` is looked for."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

JOB_FILE = "job.toml"


def find_jobs(named: Iterable[Path]) -> tuple[Path, ...]:
    """Return job files in the order they were named; for a folder, those in it and below it, by path.

    A folder whose name begins with a dot is passed over, one that several links lead to is looked into once, and a job
    that is named twice is one job. What is no folder is taken for a job file. Raises `RequestRefused` for what is not
    there, and for folders that hold no job or cannot be read.
    """
    faults: list[Fault] = []
    found: dict[str, Path] = {}
    for path in named:
        if not os.path.lexists(path):
            faults.append(Fault(str(path), "there is no such file", "name a TOML file that is there"))
            continue
        inside = os.path.isdir(path)  # noqa: PTH112 (which would raise where permissions are wanting)
        for job in _below(path, faults) if inside else [path]:
            found.setdefault(os.path.realpath(job), job)
    if faults:
        raise RequestRefused(*faults)
    return tuple(found.values())


def _below(folder: Path, faults: list[Fault]) -> Iterator[Path]:
    """Yield the jobs in a folder and below; add what is wrong with it to `faults`."""
    found = False

    def unreadable(error: OSError) -> None:
        reason = (error.strerror or str(error)).lower()
        faults.append(Fault(os.fsdecode(error.filename), f"it cannot be looked into ({reason})", "make it readable"))

    before = len(faults)
    seen: set[str] = set()
    for place, folders, files in os.walk(folder, onerror=unreadable, followlinks=True):
        if (real := os.path.realpath(place)) in seen:
            folders.clear()
            continue
        seen.add(real)
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        if JOB_FILE in files:
            found = True
            yield Path(place) / JOB_FILE
    if not found and len(faults) == before:
        wanted = "name a job file, a folder of shoots, or let `plateline new FOLDER` write a first one"
        faults.append(Fault(str(folder), f"there is no {JOB_FILE} in it or below it", wanted))
