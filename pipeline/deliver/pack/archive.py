"""A zip of the same bytes for the same content: order, times, permissions and everything else is fixed.

Nothing is compressed: pictures would not get smaller, and what a compressor makes of text differs by its version.
Source: PKWARE APPNOTE 6.3, 4.4 (fields of a file header). Names are of a-z, A-Z, 0-9, `.`, `_` and `-`, which every
system can unpack, and lie below one folder.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import itertools
import os
import re
import stat
import zipfile
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, BinaryIO

from pipeline.deliver.write import OUR_UNFINISHED, UNFINISHED
from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.book import file_digest

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

_PART = r"[A-Za-z0-9_][A-Za-z0-9._-]*"
_NAME = re.compile(rf"{_PART}(/{_PART})*")
_LONGEST_NAME = 240  # some systems unpack no path above 260, the folder that it is unpacked in included
_UNSAFE = "not every system can unpack this name"
_UNIX = 3
_PLAIN_FILE = (stat.S_IFREG | 0o644) << 16
EARLIEST, LATEST = date(1980, 1, 1), date(2107, 12, 31)  # what the date field of a zip can say


@dataclass(frozen=True, slots=True)
class Member:
    """One file of a zip: its name, what it holds (bytes, or a file to be read), how much, and its SHA-256 in hex."""

    name: str
    content: bytes | Path
    size: int
    sha256: str


def member_of(name: str, data: bytes) -> Member:
    """Return a member that holds these bytes."""
    return Member(name, data, len(data), hashlib.sha256(data).hexdigest())


def is_safe(name: str) -> bool:
    """Return whether a name can be unpacked on every system, and only below the folder it is unpacked in."""
    return len(name) <= _LONGEST_NAME and _NAME.fullmatch(name) is not None


def stamp(day: str | None) -> date:
    """Return the date that all members bear: the shoot's, where a zip can say it, else the first of 1980."""
    try:
        return min(max(date.fromisoformat(day or ""), EARLIEST), LATEST)
    except ValueError:
        return EARLIEST


@contextlib.contextmanager
def unfinished_zip(path: Path, folder: str, members: Sequence[Member], day: date) -> Iterator[Path]:
    """Give a finished zip under a name of unfinished files beside `path`; it is gone afterwards, unless moved there.

    All names lie below `folder`. Raises OSError, and `RequestRefused` for names that not every system can unpack, and
    where a file is not what its member says.
    """
    unsafe = [member.name for member in members if not is_safe(f"{folder}/{member.name}")]
    if unsafe:
        raise RequestRefused(*(Fault(name, _UNSAFE, "give its frame a shorter slug, and export") for name in unsafe))
    _sweep(path.parent)
    beside = path.with_name(f"{UNFINISHED}{os.getpid()}-{path.name}")
    try:
        with beside.open("xb") as stream:
            with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as archive:
                for member in members:
                    _add(archive, f"{folder}/{member.name}", member, day)
            stream.flush()
            os.fsync(stream.fileno())
        yield beside
    except OSError as error:  # what stops in the middle of a file says no name
        raise OSError(error.errno, error.strerror, error.filename or str(path)) from error
    finally:
        with contextlib.suppress(OSError):
            beside.unlink()


def _sweep(folder: Path) -> None:
    """Remove what a pack that was killed left unfinished in a folder: zips of our own naming whose process is gone."""
    for left in folder.glob(f"{UNFINISHED}*.zip"):
        number = left.name.removeprefix(UNFINISHED).partition("-")[0]
        if number.isdecimal() and OUR_UNFINISHED.fullmatch(left.name) and _is_plain(left) and not _runs(int(number)):
            with contextlib.suppress(OSError):
                left.unlink()


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # somebody else's
        return True
    return True


def _add(archive: zipfile.ZipFile, name: str, member: Member, day: date) -> None:
    info = zipfile.ZipInfo(name, (day.year, day.month, day.day, 0, 0, 0))
    info.create_system, info.external_attr, info.file_size = _UNIX, _PLAIN_FILE, member.size
    digest = hashlib.sha256()
    with archive.open(info, "w") as into, _opened(member) as source:
        while block := source.read(1 << 20):
            digest.update(block)
            into.write(block)
    if digest.hexdigest() != member.sha256:
        raise RequestRefused(changed_meanwhile(member.name))


def changed_meanwhile(name: str) -> Fault:
    """Return the fault of a file that was judged and is another one now."""
    return Fault(name, "it changed while it was packed", "leave the folder alone meanwhile, and run pack again")


@contextlib.contextmanager
def _opened(member: Member) -> Iterator[BinaryIO]:
    if isinstance(member.content, bytes):
        yield io.BytesIO(member.content)
    else:
        with member.content.open("rb") as stream:
            yield stream


def put_in_place(beside: Path, path: Path, *, replace: bool) -> bool:
    """Move a finished zip to its place; return False where the same bytes are there already.

    Raises OSError, and `RequestRefused` where something else is there and may not be replaced.
    """
    if _same(beside, path):
        return False
    if os.path.lexists(path) and not (replace and _is_plain(path)):
        found, wanted = "another file is there, of other content", "name another with --zip FILE, or say --replace"
        raise RequestRefused(Fault(str(path), found, wanted))
    beside.replace(path)
    return True


def first_free(beside: Path, path: Path) -> Path:
    """Return `path`, or the same name with -2, -3, ... behind it: the first where the same zip is, or nothing."""
    names = (path if number == 1 else path.with_name(f"{path.stem}-{number}.zip") for number in itertools.count(1))
    return next(name for name in names if not os.path.lexists(name) or _same(beside, name))


def _same(beside: Path, path: Path) -> bool:
    return _is_plain(path) and path.stat().st_size == beside.stat().st_size and file_digest(path) == file_digest(beside)


def _is_plain(path: Path) -> bool:
    return os.path.lexists(path) and stat.S_ISREG(path.lstat().st_mode)
