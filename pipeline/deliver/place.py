"""The output folder: which names in it are ours, and whether a folder is one that we may write our own files into."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.write import OUR_UNFINISHED, plain_place
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import (
    FOR_OUTLET,
    KEPT_FILES,
    KEPT_FOLDERS,
    LEDGER,
    LOCK,
    MANIFEST,
    SHEET_FOLDER,
    WEB_FOLDER,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pipeline.plan.rendition import Plan

SHEET, WEB = f"{SHEET_FOLDER}/index.html", f"{WEB_FOLDER}/index.html"
PATIENCE_S, TRIES = 2.0, 20
MANIFEST_BEGINS = b'{\n "manifest": '


def planned_paths(plan: Plan) -> Iterator[str]:
    """Yield the path of every file and preview that a plan makes, below the output folder."""
    for frame in plan.frames:
        for rendition in (frame.whole, *frame.renditions):
            yield from (output.path for output in (*rendition.outputs, *rendition.sheet_outputs))


def real_places(out: Path, paths: Iterable[str]) -> dict[str, str]:
    """Return paths below the output folder by where they lead to; each folder on the way is looked at once."""
    folders: dict[str, str] = {}
    found: dict[str, str] = {}
    for path in paths:
        folder, _, name = path.rpartition("/")
        if folder not in folders:
            folders[folder] = os.path.realpath(out / folder)
        place = f"{folders[folder]}{os.sep}{name}"
        found[os.path.realpath(place) if os.path.islink(place) else place] = path  # noqa: PTH114 (thousands of times)
    return found


def our_name(real: str, out: Path) -> str | None:
    """Return the name below `out` of a real path that we would write to or sweep away, None for every other."""
    try:
        inside = Path(real).relative_to(os.path.realpath(out))
    except ValueError:
        return None
    ours = str(inside) in KEPT_FILES or inside.parts[:1] in {(name,) for name in KEPT_FOLDERS}
    return inside.as_posix() if ours or OUR_UNFINISHED.fullmatch(inside.name) else None


def places_of(plan: Plan, out: Path, made: Iterable[str] = ()) -> set[str]:
    """Return the folders below the output folder that this run writes to, or an earlier one did (`made`, paths)."""
    return {
        ".",
        SHEET_FOLDER,
        f"{SHEET_FOLDER}/earlier",
        WEB_FOLDER,
        *(f"{SHEET_FOLDER}/{place.name}" for place in (out / SHEET_FOLDER).glob(f"{FOR_OUTLET}*")),
        *(f"{WEB_FOLDER}/{place.name}" for place in (out / WEB_FOLDER).glob("*")),  # one for each language
        *(str(Path(path).parent) for path in (*planned_paths(plan), *made)),
    }


def refuse_strangers(out: Path) -> None:
    """See that files of our names in `out` are ours. Raises `RequestRefused` with all that are not.

    Where our ledger is, or a manifest that we wrote, the folder is ours; elsewhere a manifest or a page that stands
    there already belongs to somebody else. Links in our places are never followed.
    """
    shown = [*KEPT_FOLDERS, *KEPT_FILES, SHEET, WEB]
    faults = [
        Fault(
            f"{out}/{name}", "this is a link, which would lead out of the folder", "take it away, or name another --out"
        )
        for name in shown
        if _is_link(out / name)
    ]
    if not faults and not _is_there(out / LEDGER) and not _begins_as_ours(out / MANIFEST):
        faults = [
            Fault(f"{out}/{name}", "this file was not made by plateline", "name another folder with --out")
            for name in (MANIFEST, SHEET, WEB)
            if _is_there(out / name)
        ]
    if faults:
        raise RequestRefused(*faults)


def _is_link(place: Path) -> bool:
    """Return whether a place is a link; not so where its name is none that a folder can have (told when it is made)."""
    return os.path.islink(place)  # noqa: PTH114 (which would raise then)


def _is_there(place: Path) -> bool:
    return os.path.exists(place)  # noqa: PTH110 (as above)


def _begins_as_ours(manifest: Path) -> bool:
    try:
        if not manifest.is_file():
            return False
        with manifest.open("rb") as stream:
            return stream.read(len(MANIFEST_BEGINS)) == MANIFEST_BEGINS
    except OSError:
        return False


@contextlib.contextmanager
def alone_in(out: Path) -> Iterator[None]:
    """Hold the output folder for one export at a time; a second one says so instead of mixing its files in.

    It is entered by an exclusive lock, which then becomes a shared one: the workers hold theirs too (`at_work_in`), so
    that a run whose parent was killed keeps the folder until its last worker is gone. Raises `RequestRefused`.
    """
    # Never through a link, never emptied: whatever stands there may be somebody's.
    lock = os.open(plain_place(out, LOCK), os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK, 0o644)
    try:
        if not _entered(lock):
            found, wanted = "another export is at work in this folder", "wait for it, or name another folder with --out"
            raise RequestRefused(Fault(str(out), found, wanted))
        yield
    finally:
        os.close(lock)


def _entered(lock: int) -> bool:
    """Take the lock, after a moment of patience for the workers of a run that was killed."""
    import fcntl  # noqa: PLC0415 (not there on every system that can read a plan)

    for patience in (*[PATIENCE_S / TRIES] * TRIES, 0.0):
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)  # where another comes between, one of the two goes on
        except OSError:
            time.sleep(patience)
        else:
            return True
    return False


@contextlib.contextmanager
def at_work_in(out: Path) -> Iterator[None]:
    """Say, as long as a worker writes to the output folder, that somebody is at work there."""
    import fcntl  # noqa: PLC0415 (as above)

    try:
        lock = os.open(plain_place(out, LOCK), os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK)
    except OSError:  # the folder was taken away; that is told when the run ends
        yield
        return
    try:
        with contextlib.suppress(OSError):  # no locks there
            fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
        yield
    finally:
        os.close(lock)
