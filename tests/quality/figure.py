"""One row of the quality table: what was measured, what it must keep, and who says so."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

TINY = 1e-9  # what is left of floating point
HEAD = ("step", "what is measured", "figure", "bound", "source of the bound", "oracle")


@dataclass(frozen=True, slots=True)
class Bound:
    """The least and the most that a figure may be; None where a side is open. A figure that is no number keeps none."""

    least: float | None = None
    most: float | None = None
    unit: str = ""

    def holds(self, figure: float) -> bool:
        """Return whether a figure lies within."""
        above = self.least is None or figure >= self.least
        below = self.most is None or figure <= self.most
        return figure == figure and above and below  # noqa: PLR0124 (a NaN is not itself)

    def __str__(self) -> str:
        """Return it in words: "at most 4 %", "1.2 to 1.6", "188"."""
        if self.least is None and self.most is None:
            return "none: told beside the others"
        least, most = (None if side is None else limit(side) for side in (self.least, self.most))
        if least is None:
            words = f"at most {most}"
        elif most is None:
            words = f"at least {least}"
        else:
            words = least if least == most else f"{least} to {most}"
        return f"{words} {self.unit}".strip()


def at_most(most: float, unit: str = "") -> Bound:
    """Return a bound from above."""
    return Bound(most=most, unit=unit)


def at_least(least: float, unit: str = "") -> Bound:
    """Return a bound from below."""
    return Bound(least=least, unit=unit)


def between(least: float, most: float, unit: str = "") -> Bound:
    """Return a bound from both sides."""
    return Bound(least, most, unit)


def exactly(figure: float, unit: str = "") -> Bound:
    """Return a bound that one figure keeps."""
    return Bound(figure, figure, unit)


def told(unit: str = "") -> Bound:
    """Return no bound: the figure stands in the table so that its neighbours can be judged."""
    return Bound(unit=unit)


@dataclass(frozen=True, slots=True)
class Figure:
    """A measured figure of one step.

    `what` says what was measured, `source` where the bound comes from, `oracle` what it was measured against or with.
    `beside` is a half-sentence that helps to judge it: what another way of doing it comes to.
    """

    step: str
    what: str
    figure: float
    bound: Bound
    source: str
    oracle: str
    beside: str = ""

    @property
    def holds(self) -> bool:
        """Return whether the figure keeps its bound."""
        return self.bound.holds(self.figure)

    def __str__(self) -> str:
        """Return the row in words, for the message of a test."""
        beside = f" ({self.beside})" if self.beside else ""
        return f"{self.step}, {self.what}: {number(self.figure)} {self.bound.unit}{beside}; bound: {self.bound}"


def number(value: float) -> str:
    """Return a figure as the table shows it: whole numbers whole, others with three digits that count."""
    if abs(value) < TINY:
        return "0"
    if not math.isfinite(value):
        return str(value)
    if value == int(value):
        return f"{int(value):,}"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{value:,.{digits}f}"


def limit(value: float) -> str:
    """Return a bound as it was set: without trailing noughts."""
    return number(value).rstrip("0").rstrip(".") if value != int(value) else number(value)


def row(figure: Figure) -> str:
    """Return the figure as a line of a Markdown table; one that misses its bound is set in bold."""
    shown = f"{number(figure.figure)} {figure.bound.unit}".strip()
    if not figure.holds:
        shown = f"**MISSED: {shown}**"
    if figure.beside:
        shown += f" ({figure.beside})"
    return line((figure.step, figure.what, shown, str(figure.bound), figure.source, figure.oracle))


def line(cells: Iterable[str]) -> str:
    """Return cells as a line of a Markdown table."""
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def heading() -> str:
    """Return the first two lines of the table."""
    return f"{line(HEAD)}\n{line('---' for _ in HEAD)}"
