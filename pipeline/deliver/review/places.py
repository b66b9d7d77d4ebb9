"""A spot that a reviewer drew, in words and numbers that go into a job file or an image editor."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.deliver.review.state import Spot
    from pipeline.light.box import Box
    from pipeline.light.turn import Turn


def spot_words(spot: Spot, of: str, cut: Box | None, turn: Turn | None) -> str:
    """Return a spot in words. `of` names the picture that it was drawn on, "the frame" or a target.

    `cut` is where that picture was cut from its frame as `turn` leaves it, in source pixels; None where that is not
    known or the picture shows two frames: the fractions of the picture alone are said then.
    """
    kind = "box" if len(spot.at) > 2 else "point"
    said = f"{kind} {_fractions(spot.at)} of {of}"
    if cut is None or turn is None:
        return said
    places = _in_frame(spot.at, cut, turn)
    pixels = " to ".join(f"{round(across)},{round(down)}" for across, down in places)
    said = f"{said} = about {pixels} px of the frame"
    if cut.size == turn.frame:
        return said
    shares = [share for across, down in places for share in (across / turn.frame.width, down / turn.frame.height)]
    return f"{said}, which is {_fractions(shares)} of it"


def _in_frame(at: Sequence[float], cut: Box, turn: Turn) -> list[tuple[float, float]]:
    """Return the point, or two opposite corners of the box, in pixels of the frame before it was turned."""
    across = [cut.left + value * cut.width for value in at[::2]]
    down = [cut.top + value * cut.height for value in at[1::2]]
    corners = [turn.source(x, y) for x, y in itertools.product(across, down)]
    if len(at) == 2:
        return corners
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return [(min(xs), min(ys)), (max(xs), max(ys))]


def _fractions(values: Sequence[float]) -> str:
    return " ".join(f"{value:.2f}" for value in values)
