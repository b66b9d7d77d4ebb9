"""A second look at alt texts. Rules: WCAG 2.2 by number, W3C WAI alt tips, IPTC 2021.1 for the length."""

from __future__ import annotations

import pytest

from pipeline.plan.lint import alt_cautions, shared_alts

GOOD = "Bowl of tomato soup seen from above, with basil and white beans."


def said(
    alt: str | None, caption: str | None = None, file: str = "selects/IMG_4711.jpg", *, decorative: bool = False
) -> list[str]:
    return list(alt_cautions(alt, caption, file, decorative=decorative))


def test_a_good_alt_text_is_left_alone() -> None:
    assert said(GOOD, "Best eaten hot.") == []


def test_decorative_is_a_valid_answer() -> None:
    assert said(None, decorative=True) == said("", decorative=True) == []


@pytest.mark.parametrize(
    ("alt", "why"),
    [
        (None, "no alt text"),
        ("", "no alt text"),
        ("  ", "white space only"),
        (" A bowl", "begins or ends with white space"),
        ("IMG_4711.jpg", "is a file name"),
        ("img_4711", "is a file name"),
        ("selects/IMG_4711.jpg", "is a file name"),
        ("bowl-from-above.webp", "is a file name"),
        ("image", "says nothing about the picture"),
        ("Picture 1", "says nothing about the picture"),
        ("0001", "says nothing about the picture"),
        ("Intro#1", "says nothing about the picture"),
        ("spacer", "says nothing about the picture"),
        ("Image of a bowl", "announces a picture"),
        ("A photo of soup", "announces a picture"),
        ("The photograph showing soup", "announces a picture"),
        ("a" * 251, "has 251 characters, more than 250"),
    ],
)
def test_each_doubtful_alt_text_is_told_why(alt: str | None, why: str) -> None:
    cautions = said(alt)
    assert len(cautions) == 1
    assert why in cautions[0]


def test_words_that_only_look_alike_are_left_alone() -> None:
    assert said("Imagery on the label shows a bowl") == []
    assert said("Photo shoot table with soup") == []
    assert said("a" * 250) == []


def test_an_alt_text_that_repeats_the_caption_is_heard_twice() -> None:
    assert "repeats the caption" in said(GOOD, GOOD)[0]


def test_decorative_with_words_is_a_contradiction() -> None:
    assert "WCAG F39" in said(GOOD, decorative=True)[0]


def test_two_frames_with_one_alt_text_are_both_told() -> None:
    cautions = shared_alts(
        [("bowl", GOOD), ("bread", "Flatbread"), ("spoon", f" {GOOD}"), ("cloth", None), ("salt", "")]
    )
    assert cautions == {
        "bowl": "its alt text is also that of spoon: say what sets them apart",
        "spoon": "its alt text is also that of bowl: say what sets them apart",
    }
