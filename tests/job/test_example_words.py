"""What is an example of a first job file, and what only looks like one."""

from __future__ import annotations

import pytest

from pipeline.job.example_words import is_example


@pytest.mark.parametrize(
    "words",
    ["Your Name", "\N{COPYRIGHT SIGN} 2027 Your Name", "https://your-site.example/buy", " ... ", "Partner's name"],
)
def test_an_example_is_known_as_it_stood_and_in_part(words: str) -> None:
    assert is_example(words)


@pytest.mark.parametrize("words", ["Ines Falkenrath", "https://larder-and-light.example/buy", "Ask first ...", "name"])
def test_words_of_her_own_are_none(words: str) -> None:
    assert not is_example(words)
