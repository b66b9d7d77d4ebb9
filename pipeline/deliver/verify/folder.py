"""The files of a folder, and which delivered file each of them is."""

from __future__ import annotations

import hashlib
import os
import stat
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from pipeline.deliver.verify.readers import picture_digest, read_file
from pipeline.faults import Fault, RequestRefused
from pipeline.job.kept_names import CREDIT, KEPT_FILES, KEPT_FOLDERS, SET_ASIDE, SUMS

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable

    from pipeline.deliver.verify.delivered import Delivered

_MOST_FILES = 100_000
# What was set aside is hers, and told as such.
_OWN_FOLDERS = frozenset(KEPT_FOLDERS) - {SET_ASIDE}
PICTURES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".avif"})


@dataclass(frozen=True, slots=True)
class Paired:
    """The files of a folder, sorted out.

    `pairs` holds each delivered file with the path that it is found at, or None; `extra` are files that were not
    delivered, `own` what an export puts beside the pictures; `odd` are links and devices, which are not opened.
    """

    pairs: tuple[tuple[Delivered, str | None], ...]
    extra: tuple[str, ...]
    own: tuple[str, ...]
    odd: tuple[str, ...]


def pair(folder: Path, delivered: tuple[Delivered, ...]) -> Paired:
    """Return which file is which: by path, else by content, by picture, by name, by name without its ending.

    Raises `RequestRefused` where `folder` is none or holds more files than any delivery.
    """
    regular, odd = _files(folder)
    names = {file.path for file in delivered}
    places: dict[str, str] = {path: path for path in names & regular}
    own = {path for path in regular - names if _is_own(path)}
    lost = [file for file in delivered if file.path not in places]
    strangers = sorted(regular - names - own)
    if lost and strangers:
        prints = {path: _prints(folder / path) for path in strangers}
        for of_file, of_path in (
            (lambda file: file.sha256, lambda path: prints[path][0]),
            (lambda file: file.picture_sha256, lambda path: prints[path][1]),
            (lambda file: _name(file.path), _name),
            (lambda file: _stem(file.path), _stem),
        ):
            _match(lost, strangers, of_file, of_path, places)
    found = set(places.values())
    return Paired(
        tuple((file, places.get(file.path)) for file in delivered),
        tuple(path for path in strangers if path not in found),
        tuple(sorted(own)),
        tuple(sorted(path for path in odd if not _is_own(path) or path in names)),
    )


def _files(folder: Path) -> tuple[set[str], set[str]]:
    """Return the paths of regular files below a folder, and of all that is neither that nor a folder."""
    if not folder.is_dir():
        raise RequestRefused(Fault(str(folder), "it is no folder", "name the folder that holds the delivered files"))
    regular, odd = set[str](), set[str]()
    for place, folders, files in os.walk(folder):
        for name in (*files, *folders):
            path = Path(place, name)
            kind = path.lstat().st_mode
            if stat.S_ISDIR(kind):
                continue
            (regular if stat.S_ISREG(kind) else odd).add(path.relative_to(folder).as_posix())
        if len(regular) + len(odd) > _MOST_FILES:
            found = f"it holds more than {_MOST_FILES} files"
            raise RequestRefused(Fault(str(folder), found, "name the folder that holds the delivered files"))
    return regular, odd


def _is_own(path: str) -> bool:
    parts = PurePosixPath(path).parts
    return path in {*KEPT_FILES, CREDIT, SUMS} or (len(parts) > 1 and parts[0] in _OWN_FOLDERS)


def _prints(path: Path) -> tuple[str | None, str | None]:
    """Return the digests of a file and of its picture, as far as it can be read."""
    try:
        data = read_file(path)
        whole = hashlib.sha256(data).hexdigest()
    except (OSError, ValueError):
        return None, None
    try:
        return whole, picture_digest(data)
    except ValueError:
        return whole, None


def _name(path: str) -> str:
    return PurePosixPath(path).name.lower()


def _stem(path: str) -> str | None:
    """Return a picture's name without its ending; a picture made into another format keeps it."""
    pure = PurePosixPath(path)
    return pure.stem.lower() if pure.suffix.lower() in PICTURES else None


def _match(
    lost: Iterable[Delivered],
    strangers: Iterable[str],
    of_file: Callable[[Delivered], Hashable],
    of_path: Callable[[str], Hashable],
    places: dict[str, str],
) -> None:
    """Give each lost file the one stranger with the same mark; where several have it, none is taken."""
    taken = set(places.values())
    files: defaultdict[Hashable, list[Delivered]] = defaultdict(list)
    paths: defaultdict[Hashable, list[str]] = defaultdict(list)
    for file in lost:
        if file.path not in places:
            files[of_file(file)].append(file)
    for path in strangers:
        if path not in taken:
            paths[of_path(path)].append(path)
    for mark, group in files.items():
        if mark is not None and len(group) == len(paths[mark]) == 1:
            places[group[0].path] = paths[mark][0]
