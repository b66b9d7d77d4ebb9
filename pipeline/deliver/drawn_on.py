"""What a job draws on, as far as its file can be read at all: what has to be looked at again while she edits."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeGuard

from pipeline.faults import Fault
from pipeline.frames.sidecar import sidecar_places
from pipeline.job.kept_names import REPLIES
from pipeline.job.toml_file import read_tables
from pipeline.ledger.stamps import folder_stamps, stamp

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.ledger.stamps import Stamp


@dataclass(frozen=True, slots=True)
class DrawnOn:
    """Files that count, also where they are not there yet, and folders in which every file of an ending counts."""

    files: tuple[Path, ...]
    listed: tuple[tuple[Path, str], ...]

    def stamps(self) -> dict[str, Stamp]:
        """Return the stamp of everything that counts, by path."""
        found = {os.fspath(file): stamp(file) for file in self.files}
        for folder, ending in self.listed:
            for name, one in folder_stamps(folder).items():
                if name.endswith(ending) and not name.startswith("."):
                    found[os.fspath(folder / name)] = one
        return found

    def folders(self) -> set[str]:
        """Return the folders in which a change of it shows, where a link leads to too; of one to come, that above."""
        places = {os.path.dirname(place) for file in self.files for place in (file, os.path.realpath(file))}  # noqa: PTH120 (of text)
        places |= {os.fspath(folder) for folder, _ in self.listed}
        return {_there(os.path.realpath(place)) for place in places}


def drawn_on(job: Path) -> DrawnOn | None:
    """Return what a job file names, whatever else is wrong with it; None where it is no TOML or cannot be read."""
    tables = read_tables(job, str(job))
    if isinstance(tables, Fault):
        return None
    here = job.parent
    frames = [here / name for name in _frames(tables)]
    names: list[object] = [tables.get("captions"), *_values(tables.get("icc_profiles"))]
    beside = [here / name for name in names if _is_name(name)]
    own = tables.get("profiles_folder")
    listed = [(here / REPLIES, ".json"), *([(here / own, ".toml")] if _is_name(own) else [])]
    sidecars = [place for frame in frames for place in sidecar_places(frame)]
    return DrawnOn((job, *beside, *frames, *sidecars), tuple(listed))


def _frames(tables: dict[str, Any]) -> Iterator[str]:
    entries = tables.get("frames")
    for entry in entries if isinstance(entries, list) else []:
        if isinstance(entry, dict) and _is_name(name := entry.get("file")):
            yield name


def _values(table: object) -> list[object]:
    return list(table.values()) if isinstance(table, dict) else []


def _is_name(name: object) -> TypeGuard[str]:
    return isinstance(name, str) and bool(name.strip("/")) and "\0" not in name


def _there(place: str) -> str:
    """Return a folder, or the nearest above it that is there."""
    while not os.path.isdir(place) and place != os.path.dirname(place):  # noqa: PTH112, PTH120 (as above)
        place = os.path.dirname(place)  # noqa: PTH120 (as above)
    return place
