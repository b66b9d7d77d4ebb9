"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused

if TYPE_CHECKING:
    from pathlib import Path

UNFINISHED = ".unfinished-"


def inside(folder: Path, relative: str) -> Path:
    """Return the place of `relative` below `folder`. Raises ValueError where it would lead out of it."""
    place = (folder / relative).resolve()
    if not place.is_relative_to(folder.resolve()):
        raise ValueError(f"{relative} leads out of the output folder")
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
    except OSError as error:
        reason = error.strerror or str(error)
        raise RequestRefused(
            Fault(
                shown,
                f"nothing can be written there ({reason})",
                "name a folder of yours with --out, or free some space",
            )
        ) from None
