"""A row of the bench's table: what was measured, its bound, and the figures it was made of.

`tests/bench/NAME.py` that has rows of its own gives them by `rows() -> list[Row]`; `python -m tests.bench` prints them.
A figure is a ratio of two times taken side by side in one run wherever it can be: then it says the same on another
machine, and whatever else that is doing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from tests.quality.figure import Bound, line, number, told

if TYPE_CHECKING:
    from collections.abc import Iterable

HEAD = ("what is measured", "figure", "bound", "made of")


@dataclass(frozen=True, slots=True)
class Row:
    """One figure: `Row("plan, ten frames, by import of pydantic", 1.8, at_most(2), "0.15 s; 0.08 s")`.

    `bound` is one of `tests.quality.figure` (`at_most(2)`, `told()` where the figure is only told beside others).
    `beside` is what helps to judge it: the times that a ratio was made of, how often each was taken.
    """

    what: str
    figure: float
    bound: Bound = told()  # noqa: RUF009 (frozen)
    beside: str = ""

    @property
    def holds(self) -> bool:
        """Return whether the figure keeps its bound."""
        return self.bound.holds(self.figure)

    def __str__(self) -> str:
        """Return it as a line of the table; one that misses its bound is set in bold."""
        shown = f"{number(self.figure)} {self.bound.unit}".strip()
        shown = shown if self.holds else f"**MISSED: {shown}**"
        bound = "told" if (self.bound.least, self.bound.most) == (None, None) else str(self.bound)
        return line((self.what, shown, bound, self.beside))


def heading() -> str:
    """Return the first two lines of the table."""
    return f"{line(HEAD)}\n{line('---' for _ in HEAD)}"


def missed(rows: Iterable[Row]) -> list[Row]:
    """Return the rows whose figure misses its bound."""
    return [row for row in rows if not row.holds]
