"""The bench's table: what a row says, and where it says that a bound is missed."""

from __future__ import annotations

import math

from tests.bench.table import Row, heading, missed
from tests.quality.figure import at_least, at_most


def test_a_row_tells_its_figure_its_bound_and_what_it_was_made_of() -> None:
    row = Row("plan | by import", 1.834, at_most(2, "x"), "0.15 s; 0.08 s")
    assert str(row) == "| plan \\| by import | 1.83 x | at most 2 x | 0.15 s; 0.08 s |"
    assert str(Row("previews", 0.25)) == "| previews | 0.250 | told |  |"


def test_a_row_that_misses_its_bound_says_so() -> None:
    rows = [Row("a", 2.0, at_most(2)), Row("b", 2.01, at_most(2)), Row("c", math.nan), Row("d", 1.0, at_least(1.5))]
    assert [row.what for row in missed(rows)] == ["b", "c", "d"]
    assert ["MISSED" in str(row) for row in rows] == [False, True, True, True]


def test_the_heading_has_a_column_for_each_cell() -> None:
    first, second = heading().splitlines()
    assert first.count("|") == second.count("|") == str(Row("a", 1.0)).count("|")
