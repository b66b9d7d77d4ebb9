"""The ledger itself: one SQLite file beside what was made, written by one process at a time."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Self

from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.made import Made

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path
    from types import TracebackType

VERSION = 1
FILE = "ledger.sqlite"
TABLES = """
CREATE TABLE IF NOT EXISTS content (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
CREATE TABLE IF NOT EXISTS made (
    path TEXT PRIMARY KEY, identity TEXT NOT NULL UNIQUE, pixel_key TEXT NOT NULL, metadata_key TEXT NOT NULL,
    sha256 TEXT NOT NULL, size_bytes INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, outside_gamut REAL
) STRICT;
"""
COLUMNS = "path, identity, pixel_key, metadata_key, sha256, size_bytes, mtime_ns, outside_gamut"


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file's content, in hex. Raises OSError."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


class Ledger:
    """What was made in one output folder, from what. Use as a context manager."""

    def __init__(self, folder: Path) -> None:
        """Open the ledger of `folder`, making it where there is none. Raises `RequestRefused`."""
        self._path = folder / FILE
        try:
            self._base = sqlite3.connect(self._path, isolation_level=None, timeout=10)
            self._base.execute("PRAGMA journal_mode = WAL")
            self._base.execute("PRAGMA synchronous = NORMAL")
            (version,) = self._base.execute("PRAGMA user_version").fetchone()
            if version not in (0, VERSION):
                self._base.close()
                found = f"it was written by another version of plateline (its number is {version}, ours {VERSION})"
                raise RequestRefused(Fault(str(self._path), found, "export to a new folder, or use that version"))
            if version == 0:
                self._base.executescript(TABLES)
                self._base.execute(f"PRAGMA user_version = {VERSION}")
        except sqlite3.Error as error:
            raise RequestRefused(
                Fault(str(self._path), f"it cannot be used ({error})", "move it away; the next export makes a new one")
            ) from None

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
        key = str(path.resolve())
        stamp = (facts.st_size, facts.st_mtime_ns, facts.st_ino)
        with closing(
            self._base.execute("SELECT size, mtime_ns, inode, sha256 FROM content WHERE path = ?", (key,))
        ) as rows:
            row = rows.fetchone()
        if row and row[:3] == stamp:
            return str(row[3])
        sha256 = file_digest(path)
        self._base.execute("INSERT OR REPLACE INTO content VALUES (?, ?, ?, ?, ?)", (key, *stamp, sha256))
        return sha256

    def made(self) -> dict[str, Made]:
        """Return everything that was made here, by path below the output folder."""
        with closing(self._base.execute(f"SELECT {COLUMNS} FROM made ORDER BY path")) as rows:  # noqa: S608 (a constant)
            return {row[0]: Made(*row) for row in rows}

    def record(self, made: Iterable[Made]) -> None:
        """Keep rows, replacing what was known of the same path or the same identity; all of them or none."""
        self._base.execute("BEGIN IMMEDIATE")
        try:
            for row in made:
                self._base.execute("DELETE FROM made WHERE identity = ? OR path = ?", (row.identity, row.path))
                self._base.execute(
                    f"INSERT INTO made ({COLUMNS}) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",  # noqa: S608 (a constant)
                    (
                        row.path,
                        row.identity,
                        row.pixel_key,
                        row.metadata_key,
                        row.sha256,
                        row.size_bytes,
                        row.mtime_ns,
                        row.outside_gamut,
                    ),
                )
        except BaseException:
            self._base.execute("ROLLBACK")
            raise
        self._base.execute("COMMIT")
