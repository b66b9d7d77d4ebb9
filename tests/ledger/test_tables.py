"""Ledgers of earlier editions, as those editions wrote them, go on with this one."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.ledger.book import FILE, Ledger, read_made, read_rounds
from pipeline.ledger.made import Made
from pipeline.ledger.rounds import Shown
from pipeline.ledger.tables import VERSION
from pipeline.light.box import Box, Size

if TYPE_CHECKING:
    from pathlib import Path

HERO = Made("blog/soup-hero-800.jpg", "bowl.jpg | blog/hero | 800 | jpeg", "p1", "m1", "s1", 1000, 1, 0.25)
STEP = Made(
    "blog/soup-step-720.jpg", "bowl.jpg | blog/step | 720 | jpeg", "p2", "m2", "s2", 2000, 2, None, "#a58a7c",
    "d2", 84, 0.97, 281.5,
)  # fmt: skip
SHOWN = Shown("bowl/blog/hero", "0" * 32, None, Size(640, 360), Box(0, 30, 800, 450))
CONTENT = """
CREATE TABLE content (
    path TEXT PRIMARY KEY, size INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, inode INTEGER NOT NULL,
    sha256 TEXT NOT NULL
) STRICT;
CREATE TABLE made (
    path TEXT PRIMARY KEY, identity TEXT NOT NULL UNIQUE, pixel_key TEXT NOT NULL, metadata_key TEXT NOT NULL,
    sha256 TEXT NOT NULL, size_bytes INTEGER NOT NULL, mtime_ns INTEGER NOT NULL, outside_gamut REAL"""
# What the first two editions wrote, word for word.
EDITIONS = {
    1: CONTENT
    + """) STRICT;
INSERT INTO made VALUES
    ('blog/soup-hero-800.jpg', 'bowl.jpg | blog/hero | 800 | jpeg', 'p1', 'm1', 's1', 1000, 1, 0.25);
PRAGMA user_version = 1;
""",
    2: CONTENT
    + """, average TEXT,
    picture_sha256 TEXT
) STRICT;
INSERT INTO made VALUES
    ('blog/soup-hero-800.jpg', 'bowl.jpg | blog/hero | 800 | jpeg', 'p1', 'm1', 's1', 1000, 1, 0.25, NULL, NULL);
PRAGMA user_version = 2;
""",
}


@pytest.mark.parametrize("edition", EDITIONS)
def test_a_ledger_of_an_earlier_edition_is_read_and_goes_on(tmp_path: Path, edition: int) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as base:
        base.executescript(EDITIONS[edition])
    before = (tmp_path / FILE).read_bytes()
    assert read_made(tmp_path) == {HERO.path: HERO}
    assert read_rounds(tmp_path) == ()
    assert before == (tmp_path / FILE).read_bytes(), "reading changes nothing"
    with Ledger(tmp_path) as ledger:
        ledger.record([STEP])
        kept = ledger.keep_round("a" * 64, None, [SHOWN])
        assert ledger.made() == {HERO.path: HERO, STEP.path: STEP}
    assert read_made(tmp_path) == {HERO.path: HERO, STEP.path: STEP}
    assert read_rounds(tmp_path) == (kept,)


def test_an_earlier_ledger_ends_with_the_same_tables_as_a_new_one(tmp_path: Path) -> None:
    columns = []
    for name, script in (("new", ""), *((str(number), text) for number, text in EDITIONS.items())):
        folder = tmp_path / name
        folder.mkdir()
        with closing(sqlite3.connect(folder / FILE)) as base:
            base.executescript(script)
        with Ledger(folder), closing(sqlite3.connect(folder / FILE)) as base:
            version = base.execute("PRAGMA user_version").fetchone()
            tables = sorted(table for (table,) in base.execute("SELECT name FROM sqlite_schema WHERE type = 'table'"))
            columns.append([version, *(base.execute(f"PRAGMA table_info({table})").fetchall() for table in tables)])
    new, *migrated = columns
    assert new[0] == (VERSION,)
    assert [new, new] == migrated


@pytest.mark.parametrize(
    "broken", ["DROP TABLE round", "DROP TABLE inspected", "ALTER TABLE shown RENAME COLUMN box_left TO leftmost"]
)
def test_a_database_with_only_some_of_our_tables(tmp_path: Path, broken: str) -> None:
    with Ledger(tmp_path):
        pass
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute(broken)
    with pytest.raises(RequestRefused, match="it is a database of another program"):
        Ledger(tmp_path)


@pytest.mark.parametrize("change", ["fidelity = 'good'", "quality = 'high'", "total_ink = x'00'"])
def test_a_measure_that_is_no_number_is_not_believed(tmp_path: Path, change: str) -> None:
    loose = EDITIONS[2].replace(") STRICT", ")")  # a stricter table would refuse it by itself
    with closing(sqlite3.connect(tmp_path / FILE)) as base:
        base.executescript(loose)
    with Ledger(tmp_path) as ledger:
        ledger.record([replace(HERO, quality=80, fidelity=0.5, total_ink=100.0)])
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute("ALTER TABLE made RENAME TO strict")
        base.execute("CREATE TABLE made AS SELECT * FROM strict")
        base.execute(f"UPDATE made SET {change}")  # noqa: S608 (the words of this test)
    with pytest.raises(RequestRefused, match="what it says of a file cannot be so"):
        read_made(tmp_path)
