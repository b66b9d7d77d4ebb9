"""The tables of the ledger, edition by edition, and how each edition becomes the next."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import sqlite3

VERSION = 3
_CONTENT = """
CREATE TABLE content (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
"""
_MADE = """
CREATE TABLE made (
    path TEXT PRIMARY KEY, identity TEXT NOT NULL UNIQUE, pixel_key TEXT NOT NULL, metadata_key TEXT NOT NULL,
    sha256 TEXT NOT NULL, size_bytes INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, outside_gamut REAL, average TEXT,
    picture_sha256 TEXT, quality INTEGER, fidelity REAL, total_ink REAL, heavy_ink REAL, ink_over REAL
) STRICT;
"""
# The outlet of a round is '' where the sheet is hers: a NULL would be no part of a key.
_ROUNDS = """
CREATE TABLE round (id TEXT NOT NULL, outlet TEXT NOT NULL, number INTEGER NOT NULL, PRIMARY KEY (id, outlet)) STRICT;
CREATE TABLE shown (
    round TEXT NOT NULL, outlet TEXT NOT NULL, rendition TEXT NOT NULL, picture_key TEXT NOT NULL, preview_sha256 TEXT,
    preview_width INTEGER NOT NULL, preview_height INTEGER NOT NULL,
    box_left INTEGER, box_top INTEGER, box_width INTEGER, box_height INTEGER, turn_deg REAL NOT NULL,
    PRIMARY KEY (round, outlet, rendition)
) STRICT;
"""
# `asked` is the digest over all that an inspection was asked with; what came of it is JSON.
_INSPECTED = """
CREATE TABLE inspected (
    sha256 TEXT NOT NULL, asked TEXT NOT NULL, inspection TEXT NOT NULL, PRIMARY KEY (sha256, asked)
) STRICT;
"""
_ALL = f"BEGIN;{_CONTENT}{_MADE}{_ROUNDS}{_INSPECTED}PRAGMA user_version = 3;COMMIT;"
_NEXT = {
    1: """
        BEGIN;
        ALTER TABLE made ADD COLUMN average TEXT;
        ALTER TABLE made ADD COLUMN picture_sha256 TEXT;
        PRAGMA user_version = 2;
        COMMIT;
    """,
    2: f"""
        BEGIN;
        ALTER TABLE made ADD COLUMN quality INTEGER;
        ALTER TABLE made ADD COLUMN fidelity REAL;
        ALTER TABLE made ADD COLUMN total_ink REAL;
        ALTER TABLE made ADD COLUMN heavy_ink REAL;
        ALTER TABLE made ADD COLUMN ink_over REAL;
        {_ROUNDS}{_INSPECTED}
        PRAGMA user_version = 3;
        COMMIT;
    """,
}
_MADE_1 = "path, identity, pixel_key, metadata_key, sha256, size_bytes, mtime_ns, outside_gamut"
_MADE_2 = f"{_MADE_1}, average, picture_sha256"
MADE_COLUMNS = {1: _MADE_1, 2: _MADE_2, 3: f"{_MADE_2}, quality, fidelity, total_ink, heavy_ink, ink_over"}
SHOWN_COLUMNS = (
    "round, outlet, rendition, picture_key, preview_sha256, preview_width, preview_height, "
    "box_left, box_top, box_width, box_height, turn_deg"
)
INSPECTED_COLUMNS = "sha256, asked, inspection"


def edition(base: sqlite3.Connection) -> int | None:
    """Return the edition of a database: 0 for an empty one, a number above VERSION for a later one, None if not ours.

    Raises sqlite3.Error for what is no database.
    """
    (version,) = base.execute("PRAGMA user_version").fetchone()
    tables = {name for (name,) in base.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
    columns = _columns(base, "made")
    if version == 0 and not tables:
        return 0
    if version > VERSION and columns:
        return int(version)
    wanted = {"content", "made"} | ({"round", "shown", "inspected"} if version == VERSION else set())
    ours = columns == MADE_COLUMNS.get(version) and tables >= wanted
    if version == VERSION:
        ours = ours and (_columns(base, "shown"), _columns(base, "inspected")) == (SHOWN_COLUMNS, INSPECTED_COLUMNS)
    return int(version) if ours else None


def _columns(base: sqlite3.Connection, table: str) -> str:
    return ", ".join(name for (name,) in base.execute("SELECT name FROM pragma_table_info(?)", (table,)))


def bring_up_to_date(base: sqlite3.Connection, found: int) -> None:
    """Give a database of edition `found` (0..VERSION) the tables of this one, each step whole or not at all."""
    if found == 0:
        base.executescript(_ALL)
        return
    for version in range(found, VERSION):
        base.executescript(_NEXT[version])
