"""The ledger itself: one SQLite file beside what was made, written by one process at a time."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import sqlite3
from contextlib import closing
from dataclasses import astuple
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Self

from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from pathlib import Path
    from types import TracebackType

VERSION = 2
FILE = "ledger.sqlite"
PICTURE_ENDINGS = frozenset({".jpg", ".png", ".webp", ".tif", ".avif"})
TABLES = """
BEGIN;
CREATE TABLE content (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
CREATE TABLE made (
    path TEXT PRIMARY KEY, identity TEXT NOT NULL UNIQUE, pixel_key TEXT NOT NULL, metadata_key TEXT NOT NULL,
    sha256 TEXT NOT NULL, size_bytes INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, outside_gamut REAL, average TEXT,
    picture_sha256 TEXT
) STRICT;
PRAGMA user_version = 2;
COMMIT;
"""
COLUMNS_1 = "path, identity, pixel_key, metadata_key, sha256, size_bytes, mtime_ns, outside_gamut"
COLUMNS = f"{COLUMNS_1}, average, picture_sha256"
PLACES = ", ".join("?" * len(COLUMNS.split()))
FROM_1_TO_2 = """
BEGIN;
ALTER TABLE made ADD COLUMN average TEXT;
ALTER TABLE made ADD COLUMN picture_sha256 TEXT;
PRAGMA user_version = 2;
COMMIT;
"""
MOVE_AWAY = "move it away; the next export makes a new one"


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file's content, in hex. Raises OSError."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def read_made(folder: Path) -> dict[str, Made]:
    """Return what the ledger of `folder` says was made there; nothing where there is none. Writes nothing.

    Raises `RequestRefused`.
    """
    path = folder / FILE
    try:
        if not path.stat().st_size:
            return {}
    except OSError:
        return {}
    # Without a log beside it no one is writing: read it as it is, also where nothing can be written.
    mode = "mode=ro" if path.with_name(f"{FILE}-wal").exists() else "immutable=1"
    with _judged(path), closing(sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True)) as base:
        version = _version(base, path)
        return _read_made(base, COLUMNS if version == VERSION else COLUMNS_1) if version else {}


@contextlib.contextmanager
def _judged(path: Path) -> Iterator[None]:
    """Turn what SQLite says of a file that is no ledger into a sentence."""
    try:
        yield
    except sqlite3.Error as error:
        raise RequestRefused(Fault(str(path), f"it cannot be used as a ledger ({error})", MOVE_AWAY)) from None


def _version(base: sqlite3.Connection, path: Path) -> int:
    """Return the version of a ledger, 0 for an empty file. Raises `RequestRefused` for what is no whole ledger."""
    (version,) = base.execute("PRAGMA user_version").fetchone()
    tables = {name for (name,) in base.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    columns = ", ".join(name for (name,) in base.execute("SELECT name FROM pragma_table_info('made')"))
    if version == 0 and not tables:
        return 0
    if version > VERSION and columns:
        found = f"it was written by a newer plateline (its ledger has number {version}, ours {VERSION})"
        raise RequestRefused(Fault(str(path), found, "use that version, or export to a new folder"))
    if (version, columns) not in {(VERSION, COLUMNS), (1, COLUMNS_1)} or not tables >= {"content", "made"}:
        raise RequestRefused(Fault(str(path), "it is a database of another program", MOVE_AWAY))
    (state,) = base.execute("PRAGMA quick_check(1)").fetchone()
    if state != "ok":
        raise RequestRefused(Fault(str(path), f"it is damaged ({state})", MOVE_AWAY))
    return int(version)


def _read_made(base: sqlite3.Connection, columns: str = COLUMNS) -> dict[str, Made]:
    with closing(base.execute(f"SELECT {columns} FROM made ORDER BY path")) as rows:  # noqa: S608 (a constant)
        made = {row[0]: Made(*row) for row in rows}
    if not all(isinstance(path, str) and _stays_inside(path) for path in made):
        raise sqlite3.DatabaseError("a path in it leads out of the folder")
    if not all(map(_is_sound, made.values())):
        raise sqlite3.DatabaseError("what it says of a file cannot be so")
    return made


def _is_sound(row: Made) -> bool:
    """Return whether a row is one that we could have written: a picture's place, digests, numbers."""
    texts = (row.path, row.identity, row.pixel_key, row.metadata_key, row.sha256)
    if not all(isinstance(text, str) for text in texts) or not row.path.isprintable():
        return False
    numbers = isinstance(row.size_bytes, int) and isinstance(row.mtime_ns, int)
    share = row.outside_gamut is None or isinstance(row.outside_gamut, float)
    place = PurePosixPath(row.path)
    picture = len(place.parts) > 1 and place.suffix in PICTURE_ENDINGS
    return numbers and share and picture


def _stays_inside(path: str) -> bool:
    parts = PurePosixPath(path).parts
    return not (path.startswith("/") or ".." in parts)


class Ledger:
    """What was made in one output folder, from what. Use as a context manager; all it does raises OSError."""

    def __init__(self, folder: Path) -> None:
        """Open the ledger of `folder`, making it where there is none. Raises `RequestRefused`."""
        self._path = folder / FILE
        with _judged(self._path):
            self._base = sqlite3.connect(self._path, isolation_level=None, timeout=10)
            try:
                match _version(self._base, self._path):
                    case 0:
                        self._base.executescript(TABLES)
                    case 1:
                        self._base.executescript(FROM_1_TO_2)
                self._base.execute("PRAGMA journal_mode = WAL")
                self._base.execute("PRAGMA synchronous = NORMAL")
            except BaseException:
                self._base.close()
                raise

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        """Turn what SQLite says in the middle of a run (a full disk, another writer) into an OSError."""
        try:
            yield
        except sqlite3.Error as error:
            raise OSError(errno.EIO, str(error), str(self._path)) from error

    def __enter__(self) -> Self:
        """Return the open ledger."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
        self._base.close()

    def digest(self, path: Path) -> str:
        """Return the SHA-256 of a frame's content; read again only when size, time or inode changed. Raises OSError."""
        facts = path.stat()
        # The path itself stays at home: an output folder is often put on a site whole.
        key = hashlib.sha256(os.fsencode(path.resolve())).hexdigest()
        stamp = (facts.st_size, facts.st_mtime_ns, facts.st_ino)
        with (
            self._told(),
            closing(
                self._base.execute("SELECT size, mtime_ns, inode, sha256 FROM content WHERE path = ?", (key,))
            ) as rows,
        ):
            row = rows.fetchone()
        if row and row[:3] == stamp:
            return str(row[3])
        sha256 = file_digest(path)
        with self._told():
            self._base.execute("INSERT OR REPLACE INTO content VALUES (?, ?, ?, ?, ?)", (key, *stamp, sha256))
        return sha256

    def made(self) -> dict[str, Made]:
        """Return everything that was made here, by path below the output folder."""
        with self._told():
            return _read_made(self._base)

    def record(self, made: Iterable[Made]) -> None:
        """Keep rows, replacing what was known of the same path or the same identity; all of them or none."""
        with self._told():
            self._base.execute("BEGIN IMMEDIATE")
            try:
                for row in made:
                    self._base.execute("DELETE FROM made WHERE identity = ? OR path = ?", (row.identity, row.path))
                    self._base.execute(
                        f"INSERT INTO made ({COLUMNS}) VALUES ({PLACES})",  # noqa: S608 (constants)
                        astuple(row),
                    )
                self._base.execute("COMMIT")
            except BaseException:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
                raise
