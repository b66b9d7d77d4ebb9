"""The rounds that a ledger keeps."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.ledger.book import FILE, Ledger, read_rounds
from pipeline.ledger.rounds import Round, Shown
from pipeline.light.box import Box, Size

if TYPE_CHECKING:
    from pathlib import Path

FIRST, SECOND = "a" * 64, "b" * 64
HERO = Shown("bowl/blog/hero", "1" * 32, "c" * 64, Size(640, 360), Box(0, 30, 800, 450))
TWO_UP = Shown("bowl/feed/two-up", "3" * 32, None, Size(640, 320), None)
LEVELLED = Shown("bowl/blog/step", "4" * 32, None, Size(640, 320), Box(3, 5, 640, 320), -0.8)
WHOLE = Shown("bowl/sheet/whole", "2" * 32, None, Size(1600, 1067), Box(0, 0, 800, 533))


def test_rounds_are_numbered_for_each_outlet_in_the_order_first_written(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        assert ledger.rounds() == ()
        assert ledger.keep_round(FIRST, None, [HERO, WHOLE]).number == 1
        assert ledger.keep_round(SECOND, None, [WHOLE]).number == 2
        assert ledger.keep_round(SECOND, "partner", [WHOLE]).number == 1
        assert ledger.keep_round(FIRST, None, [WHOLE, HERO]).number == 1
    expected = (
        Round(FIRST, None, 1, (WHOLE, HERO)),
        Round(SECOND, None, 2, (WHOLE,)),
        Round(SECOND, "partner", 1, (WHOLE,)),
    )
    assert expected == read_rounds(tmp_path)


def test_a_picture_of_two_frames_and_a_levelled_one(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.keep_round(FIRST, None, [TWO_UP, LEVELLED])
        assert ledger.rounds()[0].shown == (TWO_UP, LEVELLED)


def test_a_folder_without_a_ledger_knows_no_round(tmp_path: Path) -> None:
    assert read_rounds(tmp_path) == ()
    assert list(tmp_path.iterdir()) == []


def test_a_round_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        with pytest.raises(OSError, match="UNIQUE constraint failed"):
            ledger.keep_round(FIRST, None, [HERO, HERO])
        assert ledger.rounds() == ()


@pytest.mark.parametrize(
    "change",
    [
        "rendition = '../../x/y'",
        "rendition = '<b>/blog/hero'",
        "picture_key = '../../../etc/hosts'",
        "preview_sha256 = 'x'",
        "box_left = -1",
        "box_left = NULL",
        "preview_width = -1",
    ],
)
def test_a_row_that_we_could_not_have_written_is_not_believed(tmp_path: Path, change: str) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.keep_round(FIRST, None, [replace(HERO)])
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute(f"UPDATE shown SET {change}")  # noqa: S608 (the words of this test)
    with pytest.raises(RequestRefused, match="that was shown cannot be so"):
        read_rounds(tmp_path)


@pytest.mark.parametrize("change", ["id = 'x'", "number = 0"])
def test_a_round_that_we_could_not_have_written_is_not_believed(tmp_path: Path, change: str) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.keep_round(FIRST, None, [])
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute(f"UPDATE round SET {change}")  # noqa: S608 (the words of this test)
    with pytest.raises(RequestRefused, match="what it says of a round cannot be so"):
        read_rounds(tmp_path)
