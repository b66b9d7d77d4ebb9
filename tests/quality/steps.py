"""The steps of the quality table, in a frame's order: one module each, with a function `figures`."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.quality.figure import Figure

STEPS = (
    "light",
    "photographs",
    "colour",
    "press",
    "gamut",
    "depth",
    "turn",
    "pair",
    "sharpening",
    "encoding",
    "raw",
    "mark",
    "crop",
    "inspection",
)


def figures_of(step: str, *, full: bool = False) -> Iterator[Figure]:
    """Measure one step now and give its figures; `full` with all photographs, sizes and examples.

    Each module of `STEPS` has `figures(*, full: bool) -> Iterator[Figure]`. Raises pytest's Skipped where an outside
    judge is missing.
    """
    found: Iterator[Figure] = importlib.import_module(f"tests.quality.{step}").figures(full=full)
    return found
