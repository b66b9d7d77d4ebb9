"""What counts as too much: every number that a frame is judged by, with its unit, its range, its source.

They stand in `thresholds.toml` beside this module, in the room below both that need them: a job may change them by name
(`[inspection]`), and frames are inspected by them.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

FILE = "thresholds.toml"


@dataclass(frozen=True, slots=True)
class Threshold:
    """One number to judge by. A job may set it anywhere from `least` to `most`.

    `source` is a standard, "common practice, no source" or "house choice"; `about` is a half-sentence.
    """

    value: float
    unit: str
    least: float
    most: float
    about: str
    source: str


@dataclass(frozen=True, slots=True)
class Thresholds(Mapping[str, Threshold]):
    """All of them by name, in the order of the file; frozen, and equal where all values are."""

    rows: tuple[tuple[str, Threshold], ...]

    def __getitem__(self, name: str) -> Threshold:
        """Return a threshold. Raises KeyError for a name that there is not."""
        for known, threshold in self.rows:
            if known == name:
                return threshold
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        """Yield the names."""
        return (name for name, _ in self.rows)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self.rows)

    def with_values(self, values: Mapping[str, float]) -> Thresholds:
        """Return them with some values changed. Raises ValueError for a value out of its range, KeyError for a name."""
        for name, value in values.items():
            least, most = self[name].least, self[name].most
            if not (math.isfinite(value) and least <= value <= most):
                raise ValueError(f"it must be from {least:g} to {most:g}")
        return Thresholds(
            tuple((name, replace(one, value=float(values.get(name, one.value)))) for name, one in self.rows)
        )


@cache
def house_thresholds() -> Thresholds:
    """Return the thresholds that ship with plateline. They are tested to be whole."""
    tables = tomllib.loads(files("pipeline.light").joinpath(FILE).read_text(encoding="utf-8"))
    return Thresholds(tuple((name, Threshold(**table)) for name, table in tables.items()))
