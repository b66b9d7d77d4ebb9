"""Files that an earlier export made and that the job makes no longer: listed, and removed where she asks for it.

Only what the ledger knows counts, and only while it holds the very bytes that were written: whatever she changed since
is hers. The ledger forgets a file when it is gone, not before.
"""

from __future__ import annotations

import contextlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.place import alone_in, planned_paths, refuse_strangers
from pipeline.deliver.sheet.for_outlet import FOR_OUTLETS
from pipeline.deliver.survey import survey
from pipeline.deliver.write import plain_place
from pipeline.faults import Fault, RequestRefused, counted
from pipeline.ledger.book import Ledger, file_digest, read_made

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

    from pipeline.deliver.survey import Survey
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


@dataclass(frozen=True, slots=True)
class Pruned:
    """What was found in one output folder, by path below it.

    `ours` are as they were made (and gone, where they were removed); `hers` were changed since, or the job uses them,
    and stay; `faults` are those that could not be looked at or removed.
    """

    out: Path
    ours: tuple[str, ...]
    hers: tuple[str, ...]
    faults: tuple[Fault, ...]
    removed: bool


def left_over(plan: Plan, made: Iterable[str], out: Path) -> tuple[str, ...]:
    """Return the files that were made for this folder, are still there, and that the job makes no longer."""
    wanted = set(planned_paths(plan))
    mine = (path for path in made if path not in wanted and not path.startswith(FOR_OUTLETS))
    return tuple(path for path in mine if (out / path).is_file())


def list_left_over(job: Path, out: Path) -> Pruned:
    """Return what `remove_left_over` would remove. Writes nothing. Raises `RequestRefused`."""
    surveyed = _whole(job)
    refuse_strangers(out)
    made = read_made(out)
    ours, hers, faults = _told_apart(surveyed, left_over(_plan(surveyed, made), made, out), made, out)
    return Pruned(out, ours, hers, faults, removed=False)


def remove_left_over(job: Path, out: Path) -> Pruned:
    """Remove what the job makes no longer, and folders that are empty then. Raises `RequestRefused` and OSError."""
    surveyed = _whole(job)
    refuse_strangers(out)
    if not out.is_dir():
        return Pruned(out, (), (), (), removed=True)
    with alone_in(out), Ledger(out) as ledger:
        made = ledger.made()
        paths = left_over(_plan(surveyed, made), made, out)
        ours, hers, faults = _told_apart(surveyed, paths, made, out)
        gone: list[str] = []
        failed: list[Fault] = []
        for path in ours:
            try:
                plain_place(out, path).unlink()
            except OSError as error:
                failed.append(_fault(path, "removed", error))
                continue
            ledger.forget([path])
            gone.append(path)
        _remove_empty(out, gone)
    return Pruned(out, tuple(gone), hers, (*faults, *failed), removed=True)


def _whole(job: Path) -> Survey:
    """Return a job whose frames can all be read: what is made of one that cannot is not left over. Raises so."""
    surveyed = survey(job)
    if surveyed.unreadable:
        raise RequestRefused(*surveyed.unreadable)
    return surveyed


def _plan(surveyed: Survey, made: Mapping[str, Made]) -> Plan:
    return surveyed.plan({row.identity: row.path for row in made.values()})


def _told_apart(
    surveyed: Survey, paths: Iterable[str], made: Mapping[str, Made], out: Path
) -> tuple[tuple[str, ...], tuple[str, ...], tuple[Fault, ...]]:
    """Return which files are as they were made, which are hers now, and what is wrong with others."""
    job = surveyed.job
    in_use = {os.path.realpath(path) for path in (job.file, *job.beside, *(frame.path for frame in job.frames))}
    ours: list[str] = []
    hers: list[str] = []
    faults: list[Fault] = []
    for path in paths:
        try:
            digest = file_digest(plain_place(out, path))
        except OSError as error:
            faults.append(_fault(path, "read", error))
            continue
        is_ours = digest == made[path].sha256 and os.path.realpath(out / path) not in in_use
        (ours if is_ours else hers).append(path)
    return tuple(ours), tuple(hers), tuple(faults)


def _fault(path: str, done: str, error: OSError) -> Fault:
    return Fault(path, f"it could not be {done} ({(error.strerror or str(error)).lower()})", "see to it by hand")


def _remove_empty(out: Path, gone: Iterable[str]) -> None:
    """Remove the folders that what was removed stood in, where nothing is left in them."""
    folders = {parent for path in gone for parent in Path(path).parents if parent != Path()}
    for folder in sorted(folders, key=lambda one: -len(one.parts)):
        with contextlib.suppress(OSError):  # something is in it
            (out / folder).rmdir()


def pruned_lines(pruned: Pruned) -> Iterator[str]:
    """Yield what was found, file by file, and a line that sums it up."""
    yield from (f"{'removed' if pruned.removed else 'no longer made'}: {path}" for path in pruned.ours)
    yield from (f"yours now (changed, or a frame of the job), stays: {path}" for path in pruned.hers)
    if not pruned.ours and not pruned.hers:
        yield f"{pruned.out}: nothing in it was made by an earlier export alone"
        return
    count = counted(len(pruned.ours), "file")
    yield (
        f"{pruned.out}: {count} removed"
        if pruned.removed
        else f"{pruned.out}: `--prune remove` would remove {count}; nothing was written"
    )
