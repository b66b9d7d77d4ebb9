"""The figures of the encoders keep their bounds; the page that shows them can be written anew."""

from __future__ import annotations

import re

import pytest

from tests.quality import encoders, encoding
from tests.quality.encoding import DOCS, FIXED_QUALITY, Floor, floor_figures, floor_table, floors, replaced
from tests.quality.shoot import LOSSY, finished_pictures


def test_a_few_pictures_of_the_shoot_keep_the_bounds() -> None:
    """`fidelity` at the lowest score of quality 85: nothing below it, and at least 15 % smaller in sum.

    `tests/quality/test_quality.py` has every lossy file of the shoot, in the full run.
    """
    found = list(encoding.figures(full=False))
    assert len(found) == len(LOSSY) + 5
    assert [str(figure) for figure in found if not figure.holds] == []


def test_a_search_that_finds_too_little_would_be_seen() -> None:
    found = [Floor("jpeg", 2, 80.0, 1000, 900, 79.9, (60, 85), 7)]
    assert [figure.holds for figure in floor_figures(found)] == [False, False]


def test_the_table_of_floors_names_every_format() -> None:
    pictures = [one for one in finished_pictures(full=False) if one.picture.image.width <= 480]
    found = list(floors(pictures))
    table = list(floor_table(found))
    assert [row.split(" | ")[0] for row in table[2:]] == ["| 2 JPEG", "| 1 WEBP", "| 3 in all"]
    assert all(one.qualities[1] <= FIXED_QUALITY for one in found)


def test_the_page_has_a_place_for_every_table() -> None:
    page = DOCS.read_text(encoding="utf-8")
    for name in ("floors", *encoders.TABLES):
        assert "\n| new |\n" in replaced(page, name, "| new |")
    with pytest.raises(ValueError, match="there is no table 'other' on the page"):
        replaced(page, "other", "| new |")


def test_the_page_shows_tables_that_keep_the_bounds() -> None:
    """What stands on the page is a real run's: the sum of bytes saved, and each format's lowest file at its floor."""
    _, _, table = DOCS.read_text(encoding="utf-8").partition(encoding.BEGIN.format("floors"))
    lines = table.strip().split("\n\n")[0].splitlines()[2:]
    rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in lines]
    assert [float(row[4]) >= float(row[2]) for row in rows[:-1]] == [True] * len(LOSSY)
    saved = re.fullmatch(r"\*\*([\d.]+) %\*\*", rows[-1][-1])
    assert saved is not None
    assert float(saved[1]) >= encoding.LEAST_SAVED
