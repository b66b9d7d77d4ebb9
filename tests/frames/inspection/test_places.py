"""Places and directions in words."""

from __future__ import annotations

import pytest

from pipeline.frames.inspection.places import at, direction, middle_of, ninth
from pipeline.light.box import Point, Region


def test_places() -> None:
    assert at(Point(0.46, 0.551)) == "46 % across, 55 % down"
    assert middle_of(Region(0.2, 0.1, 0.4, 0.3)) == "30 % across, 20 % down"


@pytest.mark.parametrize(
    ("angle", "words"),
    [
        (0.0, "from side to side"),
        (175.0, "from side to side"),
        (90.0, "up and down"),
        (30.0, "along a line that falls to the right by 30 degrees"),
        (120.0, "along a line that rises to the right by 60 degrees"),
    ],
)
def test_directions(angle: float, words: str) -> None:
    assert direction(angle) == words


def test_ninths() -> None:
    found = [ninth(row, column) for row in range(3) for column in range(3)]
    assert found == [
        "in the upper left",
        "in the upper middle",
        "in the upper right",
        "at the left",
        "in the middle",
        "at the right",
        "in the lower left",
        "in the lower middle",
        "in the lower right",
    ]
