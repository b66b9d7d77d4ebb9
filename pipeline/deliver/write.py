"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import itertools
import os
import re
import secrets
import stat
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import SET_ASIDE

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

UNFINISHED = ".unfinished-"
OUR_UNFINISHED = re.compile(re.escape(UNFINISHED) + r"(\d+)(-.+)?", re.DOTALL)

# Processes of two machines, or of two containers, may have the same number and write to one shared folder.
_THIS_PROCESS = secrets.token_hex(4)


def unfinished(name: str) -> str:
    """Return the name of a file that this process has not finished; `name` is what it will be called."""
    return f"{UNFINISHED}{os.getpid()}-{_THIS_PROCESS}-{name}"


def inside(folder: Path, relative: str) -> Path:
    """Return the place of `relative` below `folder`. Raises OSError where it, or a link on its way, leads out of it."""
    root = folder.resolve()
    place = (root / relative).resolve()
    if not place.is_relative_to(root):
        raise PermissionError(errno.EPERM, "it leads out of the output folder", relative)
    return place


def write_whole(path: Path, data: bytes, mode: int | None = None) -> None:
    """Write beside the final name, flush to disk, then rename over it. Raises OSError; leaves nothing half-made.

    `mode` are the permissions of the file, those of any new one where it is None.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(unfinished(path.name))
    try:
        with beside.open("wb") as stream:
            stream.write(data)
            stream.flush()
            if mode is not None:
                os.fchmod(stream.fileno(), mode)
            os.fsync(stream.fileno())
        beside.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def plain_place(folder: Path, relative: str) -> Path:
    """Return the place of `relative`, where nothing is or a plain file is. Raises OSError for all else, links too."""
    place = inside(folder, relative)
    if place != folder.resolve() / relative or not (stat.S_ISREG(_kind(place)) or not os.path.lexists(place)):
        raise FileExistsError(errno.EEXIST, "something that is no plain file is in its place", relative)
    return place


def _kind(place: Path) -> int:
    try:
        return place.lstat().st_mode
    except FileNotFoundError:
        return 0


def write_if_changed(folder: Path, relative: str, data: bytes) -> bool:
    """Write a file unless it already holds these bytes; return whether it was written. Raises OSError."""
    path = plain_place(folder, relative)
    with contextlib.suppress(OSError):
        if path.read_bytes() == data:
            return False
    write_whole(path, data)
    return True


def set_aside(folder: Path, relative: str, data: bytes, known_sha256: str | None) -> str | None:
    """Move a file that somebody else changed out of the way of `data`; return its new place, or None. Raises OSError.

    A file that holds `data` already, or what we know we wrote there ourselves, stays where it is.
    """
    if not os.path.lexists(folder / relative):
        return None
    path = plain_place(folder, relative)
    found = path.read_bytes()
    if found == data or hashlib.sha256(found).hexdigest() == known_sha256:
        return None
    for number in itertools.count(1):
        aside = f"{SET_ASIDE}/{relative}" if number == 1 else f"{SET_ASIDE}/{number}/{relative}"
        place = inside(folder, aside)
        if not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            path.replace(place)
            return aside
    return None


def _is_inside(folder: Path, place: str) -> bool:
    try:
        return inside(folder, place).is_dir()
    except OSError:
        return False


def sweep_unfinished(folder: Path, places: Iterable[str], process: int | None = None) -> None:
    """Remove what a run that was killed left unfinished in these places below `folder` (files of our own naming).

    Of one process alone where its id is given.
    """
    for place in places:
        if not _is_inside(folder, place):
            continue
        for left in (folder / place).glob(f"{UNFINISHED}*"):
            ours = OUR_UNFINISHED.fullmatch(left.name)
            if ours and process in (None, int(ours[1])) and stat.S_ISREG(_kind(left)):
                with contextlib.suppress(OSError):
                    left.unlink()


def prepare_folder(folder: Path, shown: str) -> None:
    """Make the output folder and see that files can be written in it. Raises `RequestRefused`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"{UNFINISHED}{os.getpid()}"
        probe.write_bytes(b"")
        probe.unlink()
    except (OSError, ValueError) as error:  # a ValueError where the name itself holds a NUL
        in_the_way = next(filter(_no_folder, (folder, *folder.parents)), None)
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        found = f"{in_the_way} is no folder" if in_the_way else f"nothing can be written there ({reason.lower()})"
        wanted = "name a folder of yours with --out, or free some space"
        raise RequestRefused(Fault(shown, found, wanted)) from None


def _no_folder(place: Path) -> bool:
    """Return whether something that is no folder is at a place; False where that cannot be known."""
    return os.path.lexists(place) and not os.path.isdir(place)  # noqa: PTH112 (which would raise on some names)
