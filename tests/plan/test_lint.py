"""A second look at alt texts. Rules: WCAG 2.2 by number, W3C WAI alt tips, IPTC 2021.1 for the length."""

from __future__ import annotations

import pytest

from pipeline.job.model import Sponsor
from pipeline.plan.facts import PictureFacts
from pipeline.plan.lint import example_cautions, shared_alts, word_cautions

GOOD = "Bowl of tomato soup seen from above, with basil and white beans."


def said(
    alt: str | None, caption: str | None = None, file: str = "selects/IMG_4711.jpg", *, decorative: bool = False
) -> list[str]:
    return list(word_cautions(alt, caption, file, decorative=decorative))


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
        ("...", "says nothing about the picture"),
        ("- ? -", "says nothing about the picture"),
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


@pytest.mark.parametrize("decorative", [False, True])
def test_a_caption_without_a_word_is_told(decorative: bool) -> None:  # noqa: FBT001 (a parameter of the test)
    alt = None if decorative else GOOD
    assert said(alt, "...", decorative=decorative) == ["the caption says nothing: write one, or leave it out"]
    assert said(alt, "Best eaten hot.", decorative=decorative) == said(alt, "", decorative=decorative) == []
    assert said(alt, "\u0e23\u0e49\u0e2d\u0e19", decorative=decorative) == []  # Thai: hot


def test_what_a_first_job_file_has_as_examples_is_told_word_by_word() -> None:
    facts = PictureFacts(
        language="en",
        creators=("Your Name", "Ines Falkenrath"),
        credit_line="Your Name / your-site.example",
        copyright="\N{COPYRIGHT SIGN} 2026 Your Name",
        licence_url="https://your-site.example/licence",
        acquire_url="https://your-site.example/buy",
        usage_terms="...",
    )
    own = "write your own, or leave it out"
    assert list(example_cautions(facts, None)) == [
        f'the creator is still an example ("Your Name"): {own}',
        f'the credit line is still an example ("Your Name / your-site.example"): {own}',
        f'the copyright is still an example ("\N{COPYRIGHT SIGN} 2026 Your Name"): {own}',
        f'the address of the licence is still an example ("https://your-site.example/licence"): {own}',
        f'the address where a licence can be had is still an example ("https://your-site.example/buy"): {own}',
        f'the text of the terms of use is still an example ("..."): {own}',
    ]
    words = facts.__class__(language="en", creators=("Ines Falkenrath",), usage_terms="On request.")
    sponsor = Sponsor(name="Partner's name", disclosure="Advertisement ...")
    assert list(example_cautions(words, Sponsor(name="Larder Oils", disclosure="Advertisement."))) == []
    assert list(example_cautions(words, sponsor)) == [
        'the name of the partner is still an example ("Partner\'s name"): write who paid',
        'the disclosure is still an example ("Advertisement ..."): write the words that are due by your local rules',
    ]


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
