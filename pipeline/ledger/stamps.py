"""What tells that files are as they were, without reading them: stamps that the system renews with every change.

A stamp holds the kind and permissions, size, time of change and inode, and the time when any of these was last changed
(ctime), which no program can set: a file written anew with its old size and time, or another one moved into its place,
has another stamp. A stamp taken in the very tick of the clock in which its file was changed could hide a second change
in that tick; `settled` says whether none is of that kind.
"""

from __future__ import annotations

import hashlib
import os
import time
from operator import attrgetter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from pathlib import Path

Stamp = tuple[int, ...]
FOLDER = 0  # the whole stamp of a folder in a folder
CHANGED = 3  # the place of ctime, in nanoseconds
MOST_ENTRIES = 250_000
COARSE_SECONDS = 3  # file systems that count whole seconds, or every second one
_SECOND = 1_000_000_000
_numbers: Callable[[os.stat_result], Stamp] = attrgetter("st_mode", "st_size", "st_mtime_ns", "st_ctime_ns", "st_ino")


def clock_ns() -> int:
    """Return the clock that files are stamped by, in nanoseconds; it goes in ticks of up to 10 ms on Linux."""
    coarse = getattr(time, "CLOCK_REALTIME_COARSE", None)
    return time.time_ns() if coarse is None else time.clock_gettime_ns(coarse)


def stamp(path: str | Path) -> Stamp:
    """Return the stamp of what a path leads to; one number, that of the error, where it leads nowhere."""
    try:
        return _numbers(os.stat(path))  # noqa: PTH116 (thousands of times, from text)
    except OSError as error:
        return (error.errno or -1,)
    except ValueError:  # the name itself holds a NUL
        return (-1,)


def folder_stamps(folder: str | Path) -> dict[str, Stamp]:
    """Return the stamps of the files in a folder, by name; a folder in it counts by its name.

    Where it cannot be read, "" has one number, that of the error.
    """
    try:
        with os.scandir(folder) as entries:
            listed = sorted(entries, key=lambda entry: entry.name)
        return {entry.name: (FOLDER,) if entry.is_dir() else stamp(entry.path) for entry in listed}
    except OSError as error:
        return {"": (error.errno or -1,)}
    except ValueError:
        return {"": (-1,)}


def tree_stamp(folder: str | Path) -> tuple[str, int] | None:
    """Return a digest over the stamps of all that lies below a folder, and when the last of it changed.

    Links are not followed. None where the folder cannot be read whole, or holds more than MOST_ENTRIES.
    """
    digest, newest, seen, todo = hashlib.sha256(), 0, 0, [os.fspath(folder)]
    try:
        while todo:
            place = todo.pop()
            digest.update(f"{place!r} {os.stat(place).st_mode}\n".encode())  # noqa: PTH116 (as in `stamp`)
            with os.scandir(place) as entries:
                listed = sorted(entries, key=lambda entry: entry.name)
            seen += len(listed)
            if seen > MOST_ENTRIES:
                return None
            todo += (entry.path for entry in listed if entry.is_dir(follow_symlinks=False))
            files = (entry for entry in listed if not entry.is_dir(follow_symlinks=False))
            stamps = [(entry.name, _numbers(entry.stat(follow_symlinks=False))) for entry in files]
            newest = max((newest, *changes(numbers for _, numbers in stamps)))
            digest.update(f"{stamps}\n".encode())
    except (OSError, ValueError):
        return None
    return digest.hexdigest(), newest


def settled(changes_ns: Iterable[int], now_ns: int) -> bool:
    """Return whether files changed at these times will show another stamp at every change from `now_ns` on."""
    return all(change + (0 if change % _SECOND else COARSE_SECONDS * _SECOND) < now_ns for change in changes_ns)


def changes(stamps: Iterable[Stamp]) -> Iterable[int]:
    """Return when the files that have these stamps last changed; what is not there has no such time."""
    return (one[CHANGED] for one in stamps if len(one) > CHANGED)
