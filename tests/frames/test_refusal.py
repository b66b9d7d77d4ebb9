"""The sentences of this room."""

from __future__ import annotations

import pytest

from pipeline.frames.refusal import too_many_pixels, unopened, unreadable
from tests.frames.files import sentence


def test_a_refusal_says_what_was_found_and_what_would_help() -> None:
    text = sentence(unreadable("selects/bowl.jpg", "is empty (0 bytes)"))
    assert text == "selects/bowl.jpg: is empty (0 bytes); copy it from the card again, or export it again"


@pytest.mark.parametrize(
    ("width", "height", "limit", "words"),
    [
        (5000, 4000, 10_000_000, "5000 x 4000 pixels (20.0 megapixels), more than the limit of 10.0 megapixels"),
        (20000, 20000, 200_000_000, "20000 x 20000 pixels (400 megapixels), more than the limit of 200 megapixels"),
    ],
)
def test_pixels_are_said_in_full_and_in_megapixels(width: int, height: int, limit: int, words: str) -> None:
    text = sentence(too_many_pixels("a.png", width, height, limit))
    assert words in text
    assert f"above {width * height} (it is {limit})" in text


def test_what_the_operating_system_says_is_put_in_words() -> None:
    assert "a.png: is not there" in sentence(unopened("a.png", FileNotFoundError(2, "No such file or directory")))
    assert "cannot be opened (input/output error)" in sentence(unopened("a.png", OSError(5, "Input/output error")))
    assert "cannot be opened (unknown reason)" in sentence(unopened("a.png", OSError()))
