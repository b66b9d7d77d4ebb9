"""Two colours of light in one picture: a window on one side, a lamp on the other.

The picture is cut into strips, across and down, and each is asked for its white point. Light is mixed where the strips
before some cut agree on one light and those behind it on another. A strip that is not sure has no say, but a side must
be sure as a whole and have at least two strips that are, or every wooden board would be a lamp. Pictures are linear
sRGB, float64, height x width x 3.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from pipeline.light.smooth import by_blocks, finite
from pipeline.light.white_point import white_point

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.light.smooth import Picture
    from pipeline.light.transfer import Values
    from pipeline.light.white_point import WhitePoint

STRIPS, FEWEST = 6, 2
SURE_TOGETHER = 0.75  # of a side: the mean confidence of all its strips
SIDE = 192  # px of the copy that is looked at


@dataclass(frozen=True, slots=True)
class Mixed:
    """How far apart two lights are (u', v'), which way the frame is parted, where (0..1), and both lights' shifts."""

    distance: float
    way: Literal["across", "down"]
    cut: float
    before: tuple[float, float]
    behind: tuple[float, float]


def mixed_light(light: Picture, sure: float) -> Mixed | None:
    """Return the two lights that lie farthest apart; None where there is one, or none that is sure."""
    light = by_blocks(finite(light), SIDE)
    found = [
        one
        for axis in (1, 0)
        if light.shape[axis] >= STRIPS
        for one in _cuts([white_point(strip) for strip in np.array_split(light, STRIPS, axis)], axis, sure)
    ]
    return max(found, key=lambda one: one.distance, default=None)


def _cuts(strips: Sequence[WhitePoint], axis: int, sure: float) -> list[Mixed]:
    """Return the cuts whose two sides are each within themselves closer than they are to each other."""
    found = []
    for cut in range(FEWEST, STRIPS - FEWEST + 1):
        sides = strips[:cut], strips[cut:]
        before, behind = (
            np.array([(one.u, one.v) for one in side if one.confidence >= sure]).reshape(-1, 2) for side in sides
        )
        together = min(sum(one.confidence for one in side) / len(side) for side in sides)
        if min(len(before), len(behind)) < FEWEST or together < SURE_TOGETHER:
            continue
        between = behind.mean(axis=0) - before.mean(axis=0)
        distance = float(np.hypot(*between))
        if distance > 0 and _parted(before, behind, between / distance):
            one, other = before.mean(axis=0), behind.mean(axis=0)
            found.append(
                Mixed(
                    distance,
                    "across" if axis == 1 else "down",
                    cut / STRIPS,
                    (float(one[0]), float(one[1])),
                    (float(other[0]), float(other[1])),
                )
            )
    return found


def _parted(before: Values, behind: Values, along: Values) -> bool:
    """Return whether no strip of one side comes as far along as the least of the other, with a third of it between."""
    one, other = before @ along, behind @ along
    return bool(other.min() - one.max() > (other.mean() - one.mean()) / 3)
