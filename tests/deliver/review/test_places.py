"""A spot in words: the numbers are held against arithmetic by hand."""

from __future__ import annotations

import pytest

from pipeline.deliver.review.places import spot_words
from pipeline.deliver.review.state import Spot
from pipeline.light.box import Box, Size
from pipeline.light.turn import Turn

FRAME = Size(4000, 3000)


@pytest.mark.parametrize(
    ("spot", "of", "cut", "words"),
    [
        (
            (0.31, 0.30, 0.62, 0.80),
            "the frame",
            Box(0, 0, 4000, 3000),
            "box 0.31 0.30 0.62 0.80 of the frame = about 1240,900 to 2480,2400 px of the frame",
        ),
        (
            (0.5, 0.25),
            "partner/proof",
            Box(1000, 500, 2000, 1000),
            "point 0.50 0.25 of partner/proof = about 2000,750 px of the frame, which is 0.50 0.25 of it",
        ),
        (
            (0.0, 0.0, 1.0, 1.0),
            "partner/proof",
            Box(1000, 600, 2000, 1500),
            (
                "box 0.00 0.00 1.00 1.00 of partner/proof = about 1000,600 to 3000,2100 px of the frame, "
                "which is 0.25 0.20 0.75 0.70 of it"
            ),
        ),
        ((0.5, 0.5), "feed/two-up", None, "point 0.50 0.50 of feed/two-up"),
    ],
)
def test_a_spot_is_told_in_fractions_and_in_pixels(
    spot: tuple[float, ...], of: str, cut: Box | None, words: str
) -> None:
    assert words == spot_words(Spot(spot), of, cut, Turn(FRAME, 0.0))


def test_a_spot_on_a_levelled_frame_is_told_where_it_is_in_the_frame_as_it_was_taken() -> None:
    # Turned by a quarter of a half turn, (cos, sin) = (0.7071, 0.7071): by hand. The centre stays where it is; 100 px
    # to the right of it in the turned frame are 70.7 px right and 70.7 px up in the frame.
    turn = Turn(Size(1000, 1000), 45.0)
    side = turn.size.width
    cut = Box(0, 0, side, side)
    assert spot_words(Spot((0.5, 0.5)), "the frame", cut, turn).startswith(
        "point 0.50 0.50 of the frame = about 500,500 px of the frame"
    )
    right = 0.5 + 100 / side
    words = spot_words(Spot((right, 0.5)), "the frame", cut, turn)
    assert words.endswith(" = about 571,429 px of the frame, which is 0.57 0.43 of it")
    box = spot_words(Spot((0.5, 0.5, right, 0.5)), "the frame", cut, turn)
    assert box.endswith(" = about 500,429 to 571,500 px of the frame, which is 0.50 0.43 0.57 0.50 of it")
