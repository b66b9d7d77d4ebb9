"""The figures of the encoders keep their bounds over the whole shoot; the page that shows them can be written anew."""

from __future__ import annotations

import re

import pytest

from tests.quality import encoders, encoding
from tests.quality.encoding import DOCS, FIXED_QUALITY, floor_figures, floor_table, floors, replaced
from tests.quality.shoot import LOSSY, finished_pictures


@pytest.mark.full
def test_a_floor_saves_bytes_over_every_lossy_file_of_the_shoot() -> None:
    """`fidelity` at the lowest score of quality 85: nothing below it, and at least 15 % smaller in sum."""
    found = list(floors(finished_pictures(full=True)))
    assert [one.output_format for one in found] == list(LOSSY)
    assert [one.lowest >= one.floor for one in found] == [True] * len(found)
    assert [str(figure) for figure in floor_figures(found) if not figure.holds] == []


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
    rows = [[cell.strip() for cell in row.strip("|").split("|")] for row in table.split("\n\n")[1].splitlines()[2:]]
    assert [float(row[4]) >= float(row[2]) for row in rows[:-1]] == [True] * len(LOSSY)
    saved = re.fullmatch(r"\*\*([\d.]+) %\*\*", rows[-1][-1])
    assert saved is not None
    assert float(saved[1]) >= encoding.LEAST_SAVED
