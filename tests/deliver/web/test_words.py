"""The words of a picture by language: which are taken, whose they are, which way they run."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.printable import printable
from pipeline.deliver.web.words import (
    Said,
    direction_of_language,
    direction_of_text,
    languages,
    said,
    without_disclosure,
)
from pipeline.plan.facts import PictureFacts, Translation
from tests.deliver.web.reading import ATTACKS, holds

if TYPE_CHECKING:
    from pipeline.plan.rendition import Plan

FACTS = PictureFacts(
    language="en",
    alt="soup",
    description="hot",
    translations=(Translation("fr", alt="soupe"), Translation("pt-BR", alt="sopa", description="quente")),
)


def test_languages_are_those_of_the_job_the_shoots_first(plan: Plan) -> None:
    assert languages(plan) == ("en", "fr", "ar")
    twice = replace(plan.frames[0], facts=replace(plan.frames[0].facts, translations=(Translation("FR"),)))
    assert languages(replace(plan, frames=(*plan.frames, twice))) == ("en", "fr", "ar")


@pytest.mark.parametrize(
    ("field", "language", "expected"),
    [
        ("alt", "en", Said("soup", "en")),
        ("alt", "fr", Said("soupe", "fr")),
        ("alt", "fr-CA", Said("soupe", "fr")),
        ("alt", "PT-br", Said("sopa", "pt-BR")),
        ("alt", "pt", Said("sopa", "pt-BR")),
        ("alt", "de", Said("soup", "en")),
        ("description", "fr", Said("hot", "en")),
        ("description", "pt-BR", Said("quente", "pt-BR")),
        ("long_alt", "en", None),
    ],
)
def test_words_are_of_the_language_else_near_it_else_the_first(
    field: str, language: str, expected: Said | None
) -> None:
    assert expected == said(FACTS, field, language)  # type: ignore[arg-type]


def test_a_decorative_picture_has_an_empty_alt_in_every_language() -> None:
    facts = PictureFacts(language="en", alt="", decorative=True)
    assert said(facts, "alt", "fr") == Said("", "fr")
    assert said(PictureFacts(language="en"), "alt", "fr") is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [("soup", "ltr"), ("1. soup", "ltr"), ("حساء", "rtl"), ("«מרק» soup", "rtl"), ("12 🍲!", None), ("", None)],
)
def test_text_runs_as_its_first_strong_letter(text: str, expected: str | None) -> None:
    assert expected == direction_of_text(text)


@given(st.text())
def test_a_direction_is_found_just_where_a_letter_has_one(text: str) -> None:
    """Bidi classes L, R and AL are the strong ones: UAX #9, table 4."""
    strong = [unicodedata.bidirectional(letter) in {"L", "R", "AL"} for letter in text]
    assert any(strong) == (direction_of_text(text) is not None)


@pytest.mark.parametrize(
    ("tag", "expected"),
    [
        ("en", "ltr"),
        ("ar", "rtl"),
        ("he-IL", "rtl"),
        ("fa", "rtl"),
        ("az-Arab", "rtl"),
        ("ar-Latn", "ltr"),
        ("ja", "ltr"),
    ],
)
def test_a_language_runs_as_its_script(tag: str, expected: str) -> None:
    assert expected == direction_of_language(tag)


@given(st.text() | st.sampled_from(ATTACKS))
def test_printable_text_is_what_html_can_hold(text: str) -> None:
    assert holds(text) == printable(text)


@pytest.mark.parametrize(
    ("caption", "expected"),
    [
        ("Serve hot. Advertisement.", "Serve hot."),
        ("Advertisement.", ""),
        ("Advertisement. Serve hot.", "Advertisement. Serve hot."),
    ],
)
def test_a_caption_without_its_disclosure(caption: str, expected: str) -> None:
    assert expected == without_disclosure(caption, "Advertisement.")
    assert caption == without_disclosure(caption, None)
