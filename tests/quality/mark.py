"""The mark of a proof: its contrast on even grounds and on busy photographs, and how much of the picture it covers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Size
from tests.quality.figure import Figure, at_least, between
from tests.render.test_mark import busy, contrasts, share

if TYPE_CHECKING:
    from collections.abc import Iterator

STEP = "proof mark"
WCAG = "WCAG 2.2, 1.4.11"
RATIO = "the standard's own ratio, in numpy"
GROUNDS = (0.0, 0.18, 0.4, 0.5, 0.6, 0.7, 1.0)
SIZE = Size(1000, 667)
FRAMES = ("overhead.tif", "overexposed.jpg", "warm-bulb.jpg")


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure the mark; `full` changes nothing here."""
    del full
    even = {level: contrasts(np.full((SIZE.height, SIZE.width, 3), level, np.float32)).min() for level in GROUNDS}
    worst = min(even, key=lambda level: float(even[level]))
    yield Figure(
        STEP, f"least contrast of letter, edge and ground on {len(GROUNDS)} even grounds, black to white",
        float(even[worst]), at_least(3, ": 1"), WCAG, RATIO, f"at {worst:g} of full light",
    )  # fmt: skip
    found = np.concatenate([contrasts(busy(name, SIZE.width)) for name in FRAMES])
    yield Figure(
        STEP, "the same on three frames of the sample shoot, the worst square of a letter's width", float(found.min()),
        at_least(2, ": 1"), "house choice", RATIO, f"{100 * (found >= 3).mean():.0f} % of the squares reach 3 : 1",
    )  # fmt: skip
    covered = [100 * share(light, size) for light in (0.0, 0.18, 1.0) for size in (Size(400, 300), SIZE)]
    for words, figure in (("least", min(covered)), ("most", max(covered))):
        yield Figure(
            STEP, f"{words} that it covers of a picture, black, grey and white, of two sizes", figure,
            between(3, 30, "%"), "house choice", "counted",
        )  # fmt: skip
