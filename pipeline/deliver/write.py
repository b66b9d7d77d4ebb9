"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused

if TYPE_CHECKING:
    from pathlib import Path

UNFINISHED = ".unfinished-"


def inside(folder: Path, relative: str) -> Path:
    """Return the place of `relative` below `folder`. Raises OSError where it, or a link on its way, leads out of it."""
    place = (folder / relative).resolve()
    if not place.is_relative_to(folder.resolve()):
        raise PermissionError(errno.EPERM, "it leads out of the output folder", relative)
    return place


def write_whole(path: Path, data: bytes) -> None:
    """Write beside the final name, flush to disk, then rename over it. Raises OSError; leaves nothing half-made."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f"{UNFINISHED}{os.getpid()}-{path.name}")
    try:
        with beside.open("wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        beside.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def write_if_changed(path: Path, data: bytes) -> bool:
    """Write a file unless it already holds these bytes; return whether it was written. Raises OSError."""
    with contextlib.suppress(OSError):
        if path.read_bytes() == data:
            return False
    write_whole(path, data)
    return True


def sweep_unfinished(folder: Path) -> None:
    """Remove what a run that was killed left unfinished (only files of our own naming)."""
    for left in folder.rglob(f"{UNFINISHED}*"):
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
