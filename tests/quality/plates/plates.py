"""The plates of `docs/quality.md`, by the name of their file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.quality.plates import budgets, gamut, inks, mark, pair, raw, reduction, sharpening, turn

if TYPE_CHECKING:
    from collections.abc import Callable

    from PIL import Image

PLATES: dict[str, Callable[[], Image.Image]] = {
    "linear-light": reduction.linear_light,
    "glints": reduction.glints,
    "gamut": gamut.gamut,
    "turn": turn.turn,
    "sharpening": sharpening.sharpening,
    "budgets": budgets.budgets,
    "press": inks.press,
    "raw-highlights": raw.highlights,
    "proof-mark": mark.proof_mark,
    "two-up": pair.pair,
}
