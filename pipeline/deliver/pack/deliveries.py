"""`deliveries.jsonl` beside the job: a row for each zip that was sent, never rewritten.

A row is one line of JSON. Its last key, `digest`, is the SHA-256 over the line as it would be without it; `previous` is
the digest of the row before. So a row that is changed, put in or taken out later is seen, unless it is the last one and
its digest is made anew; whoever wants that too keeps the digest elsewhere (`pack` prints it). A run that is killed
while it writes leaves a torn line: it is told, it stays, and the next row begins on a line of its own.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import re
import stat
from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Any, BinaryIO, Literal

from pydantic import Field, ValidationError

from pipeline.deliver.pack.listing import Day
from pipeline.deliver.verify.delivered import Digest, Entry
from pipeline.faults import Fault, RequestRefused

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

FILE = "deliveries.jsonl"
FORMAT = 1
_MOST_BYTES = 256 << 20
_SEALED = re.compile(rb'(\{.*), "digest": "([0-9a-f]{64})"\}', re.DOTALL)
_KEEP = "put the file back as it was; nothing is ever written over in it"


class SentZip(Entry):
    """The zip: its name and its bytes."""

    name: str
    sha256: Digest
    bytes: int


class SentFile(Entry):
    """One picture in it, by its path below the output folder."""

    path: str
    sha256: Digest
    picture_sha256: Digest | None
    bytes: int


class SentRound(Entry):
    """The round that its contact sheet shows."""

    id: Digest
    number: Annotated[int, Field(ge=1)]


class SentLicence(Entry):
    """How some renditions may be used, in the words that their files carry. The days are ISO 8601."""

    renditions: tuple[str, ...]
    url: str | None = None
    terms: str | None = None
    acquire_url: str | None = None
    copyright: str | None = None
    credit_line: str | None = None
    not_before: Day | None = None
    ends: Day | None = None


class SentVerdict(Entry):
    """Who approved a rendition, and when; `round` is the id of the round that was answered."""

    rendition: str
    verdict: str
    reviewer: str
    date: str
    round: str


class Delivery(Entry):
    """One row. `date` is ISO 8601 with its offset; `overridden` says what spoke against sending it."""

    plateline_delivery: Literal[1]
    delivery: Annotated[int, Field(ge=1, lt=10**9)]
    previous: Digest | None
    date: str
    to: str
    shoot: str
    outlet: str
    only: str | None
    round: SentRound | None
    zip: SentZip
    files: tuple[SentFile, ...]
    licences: tuple[SentLicence, ...]
    verdicts: tuple[SentVerdict, ...]
    overridden: tuple[str, ...]
    plateline: str


@dataclass(frozen=True, slots=True)
class Row:
    """A delivery as it stands in the record: the number of its line, its digest, and whether the two still agree."""

    line: int
    delivery: Delivery
    digest: str
    unchanged: bool


@dataclass(frozen=True, slots=True)
class Record:
    """All rows, and in sentences what is wrong with the record."""

    rows: tuple[Row, ...]
    troubles: tuple[str, ...]


def read_record(path: Path) -> Record:
    """Return every row. Raises `RequestRefused` where the file cannot be read; where there is none it is empty."""
    try:
        with _opened(path, os.O_RDONLY) as stream:
            return _record(stream.read())
    except FileNotFoundError:
        return Record((), ())
    except OSError as error:
        reason = (
            "it is a link" if path.is_symlink() else f"it cannot be used ({(error.strerror or str(error)).lower()})"
        )
        raise RequestRefused(Fault(str(path), reason, _KEEP)) from None


@contextlib.contextmanager
def _opened(path: Path, flags: int) -> Iterator[BinaryIO]:
    """Open a plain file of a record's size, through no link. Raises OSError for all else."""
    descriptor = os.open(path, flags | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC, 0o644)
    facts = os.fstat(descriptor)
    if not stat.S_ISREG(facts.st_mode) or facts.st_size > _MOST_BYTES:
        os.close(descriptor)
        raise OSError(errno.EINVAL, "this is no plain file, or larger than any record", str(path))
    with os.fdopen(descriptor, "rb" if flags == os.O_RDONLY else "r+b", buffering=0) as stream:
        yield stream


def _record(data: bytes) -> Record:
    rows: list[Row] = []
    troubles: list[str] = []
    before: str | None = None
    for number, line in enumerate(data.split(b"\n"), start=1):
        if not line.strip():
            continue
        row = _row(number, line)
        if row is None:
            troubles.append(f"line {number} is no whole row: a run was stopped while it wrote it, or it was changed")
            continue
        if not row.unchanged:
            troubles.append(f"line {number}, delivery {row.delivery.delivery}, was changed after it was written")
        if row.delivery.previous != before:
            troubles.append(
                f"line {number}, delivery {row.delivery.delivery}, does not follow on the row before it: "
                "a row was changed, put in or taken out there"
            )
        before = row.digest
        rows.append(row)
    return Record(tuple(rows), tuple(troubles))


def _row(number: int, line: bytes) -> Row | None:
    sealed = _SEALED.fullmatch(line)
    if sealed is None:
        return None
    body = sealed[1] + b"}"
    try:
        delivery = Delivery.model_validate_json(body)
    except ValidationError:
        return None
    digest = sealed[2].decode()
    return Row(number, delivery, digest, unchanged=hashlib.sha256(body).hexdigest() == digest)


def record_to_add_to(path: Path) -> Record:
    """Return what is recorded, seen before anything is written that a row can be added. Raises `RequestRefused`."""
    record = read_record(path)
    place = path if path.exists() else path.parent
    if not os.access(place, os.W_OK):
        raise RequestRefused(Fault(str(path), "nothing can be written there", "make it writable, or name --job"))
    return record


def append(path: Path, content: Mapping[str, Any]) -> Row:
    """Add one row, whole or not at all, and flush it to disk; return it.

    `content` is a `Delivery` without its number, its format and the digest before it. Two runs at once wait for each
    other. Raises OSError; what was written of a row by then is taken away again.
    """
    import fcntl  # noqa: PLC0415 (not there on every system that can read a record)

    with _opened(path, os.O_RDWR | os.O_APPEND | os.O_CREAT) as stream:
        fcntl.flock(stream, fcntl.LOCK_EX)
        data = stream.read()
        rows = _record(data).rows
        head = {
            "plateline_delivery": FORMAT,
            "delivery": max((row.delivery.delivery for row in rows), default=0) + 1,
            "previous": rows[-1].digest if rows else None,
        }
        line = _sealed({**head, **content})
        start = b"" if not data or data.endswith(b"\n") else b"\n"
        row = _row((data + start).count(b"\n") + 1, line)
        if row is None:
            raise ValueError("a row that cannot be read back is not written")
        try:
            left = memoryview(start + line + b"\n")
            while left:
                left = left[os.write(stream.fileno(), left) :]
            os.fsync(stream.fileno())
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(stream.fileno(), len(data))
            raise OSError(error.errno, error.strerror, str(path)) from error
    _flush_folder(path.parent)
    return row


def _sealed(content: Mapping[str, Any]) -> bytes:
    body = json.dumps(content, ensure_ascii=False, allow_nan=False).encode()
    return body[:-1] + f', "digest": "{hashlib.sha256(body).hexdigest()}"}}'.encode()


def _flush_folder(folder: Path) -> None:
    """Let a new name in a folder reach the disk too, where the system can."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
