from __future__ import annotations

import pytest

from pipeline.frames.words import FIELDS, Stated, Words, compared, quoted


def test_fields_are_all_that_one_source_can_say() -> None:
    assert set(FIELDS) == set(Words.__dataclass_fields__) - {"in_languages"}


@pytest.mark.parametrize(
    ("language", "text"), [("fr", "Bol"), ("FR", "Bol"), ("fr-CA", "Bol"), ("pt", "Tigela"), ("de", "Bowl")]
)
def test_words_by_language(language: str, text: str) -> None:
    stated = Stated(
        title="Bowl", in_languages=(("title", "fr", "Bol"), ("title", "pt-BR", "Tigela"), ("alt", "de", "x"))
    )
    assert stated.text("title", language) == text


def test_where_a_word_stood() -> None:
    assert Stated(origins=(("title", "IIM"),)).origin("title") == "IIM"
    assert Stated().origin("title") is None


def test_comparison_and_quotes() -> None:
    assert compared(("b", "a")) == compared(("a", "b"))
    assert compared("e\u0301  x\n") == compared("é x")
    assert quoted(("a", "b")) == "'a, b'"
    assert quoted("x" * 100) == "'" + "x" * 59 + "…'"
    assert quoted(4) == "'4'"
