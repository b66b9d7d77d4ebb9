from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from pipeline.job.words import BARE_NAME, BareName, KeepBox, Language, PointPair, RatioText, WebAddress, Words, slugify


def refused(kind: Any, value: object) -> str:  # noqa: ANN401 (an annotated type)
    """Return what is said of a value that is not of the kind."""
    with pytest.raises(ValidationError) as error:
        TypeAdapter(kind).validate_python(value)
    (detail,) = error.value.errors()
    return str(detail["msg"])


def accepted(kind: Any, value: object) -> object:  # noqa: ANN401 (as above)
    return TypeAdapter(kind).validate_python(value)


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("Crème brûlée", "creme-brulee"),
        ("Jalapeño & Lime", "jalapeno-lime"),
        ("Käsespätzle", "kasespatzle"),
        ("Smørrebrød", "smorrebrod"),
        ("Grießbrei", "griessbrei"),
        ("Æbleskiver", "aebleskiver"),
        ("Żurek z Łodzi", "zurek-z-lodzi"),
        ("İzmir köfte", "izmir-kofte"),
        ("Ǽ Ǿ ẞ", "ae-o-ss"),
        ("Grandma's, grandma\u2019s", "grandmas-grandmas"),
        ("sweet\u2013sour\u00a0sauce\u00b7hot", "sweet-sour-sauce-hot"),
        ("a\u71b1b", "ab"),
        ("ﬁsh ½", "fish-1-2"),
        ("  --a__b..c--  ", "a-b-c"),
        ("熱い", ""),
        ("", ""),
    ],
)
def test_a_slug_is_what_a_reader_would_type(text: str, slug: str) -> None:
    assert slug == slugify(text)


@given(st.text())
def test_a_slug_is_lower_case_letters_figures_and_single_hyphens(text: str) -> None:
    slug = slugify(text)
    assert re.fullmatch("([a-z0-9]+(-[a-z0-9]+)*)?", slug)
    assert slug == slugify(slug)


@given(st.text())
def test_a_slug_does_not_depend_on_how_accents_are_stored(text: str) -> None:
    import unicodedata  # noqa: PLC0415

    assert slugify(text) == slugify(unicodedata.normalize("NFD", text))


@pytest.mark.parametrize(
    "text", ["https://larder.example/licence", "http://larder.example/a?b=c#d", "https://é.example/ü"]
)
def test_web_addresses_that_can_be_followed(text: str) -> None:
    assert text == accepted(WebAddress, text)


@pytest.mark.parametrize(
    "text", ["www.larder.example", "javascript:alert(1)", "https://", "https://a b", 'https://a"b']
)
def test_web_addresses_that_cannot(text: str) -> None:
    assert "write a whole web address, beginning with https://" in refused(WebAddress, text)


# Source: RFC 5646 appendix A, examples of language tags, from memory (the grandfathered ones are left out).
RFC_5646_TAGS = [
    *("de", "fr", "ja", "zh-Hant", "zh-Hans", "sr-Cyrl", "sr-Latn", "zh-cmn-Hans-CN", "cmn-Hans-CN", "zh-yue-HK"),
    *("yue-HK", "zh-Hans-CN", "sr-Latn-RS", "sl-rozaj", "sl-rozaj-biske", "sl-nedis", "de-CH-1901", "sl-IT-nedis"),
    *("hy-Latn-IT-arevela", "de-DE", "en-US", "es-419"),
]


@pytest.mark.parametrize("tag", RFC_5646_TAGS)
def test_language_tags_of_rfc_5646(tag: str) -> None:
    assert tag == accepted(Language, tag)


@pytest.mark.parametrize("tag", ["", "e", "en_US", "english language", "de-", "toolongforatag"])
def test_what_is_no_language_tag(tag: str) -> None:
    assert 'write a language tag such as "en", "fr" or "pt-BR"' in refused(Language, tag)


def test_words_may_be_in_any_script_and_on_several_lines() -> None:
    text = "Suppe, 熱い,\n\u05e9\u05dc\t\U0001f345"
    assert text == accepted(Words, text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a\x07", "character U+0007"),
        ("a\x7f", "character U+007F"),
        ("a\x85", "character U+0085"),
        (" \n", "some words"),
    ],
)
def test_control_characters_and_blanks_are_refused(text: str, said: str) -> None:
    # Source: XML 1.0 (fifth edition) 2.2, Char; U+007F to U+009F are discouraged there.
    assert said in refused(Words, text)


@pytest.mark.parametrize("value", [[0, 0], [1, 1], [0.46, 0.55], (0.5, 1.0)])
def test_points_are_two_fractions(value: object) -> None:
    assert tuple(value) == accepted(PointPair, value)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "value", [[1200, 800], [0.5], [0.5, 0.5, 0.5], "middle", [True, False], [float("nan"), 0], [-0.1, 0], 0.5, None]
)
def test_whatever_else_is_said_to_be_fractions(value: object) -> None:
    assert refused(PointPair, value).endswith(
        "write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge)"
    )


@pytest.mark.parametrize("box", [[0.3, 0.3, 0.3, 0.6], [0.6, 0.2, 0.3, 0.4], [0.2, 0.5, 0.4, 0.5], [0, 0, 0.0005, 1]])
def test_an_empty_box_holds_nothing(box: list[float]) -> None:
    assert "this box is empty; write it as [left, top, right, bottom]" in refused(KeepBox, box)


@pytest.mark.parametrize("box", [[0.1, 0.2, 1.3, 0.4], [0.1, 0.2, 0.3], "all", [0, 0, 1, 1, 1]])
def test_a_box_is_four_fractions(box: object) -> None:
    assert "write [left, top, right, bottom] as fractions of the frame, from 0 to 1" in refused(KeepBox, box)


@pytest.mark.parametrize("text", ["16:9", "1.91:1", "1:20", "20:1"])
def test_shapes(text: str) -> None:
    assert text == accepted(RatioText, text)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("16x9", "for example 16:9"),
        ("0:1", "both above 0"),
        ("1:21", "at most 20 times"),
        ("9" * 20 + ":1", "at most 20"),
    ],
)
def test_no_shapes(text: str, said: str) -> None:
    assert said in refused(RatioText, text)


@given(st.text(alphabet="ab1-\n_", max_size=40))
def test_the_two_forms_of_a_bare_name_agree(text: str) -> None:
    by_schema = True
    try:
        accepted(BareName, text)
    except ValidationError:
        by_schema = False
    assert by_schema == bool(BARE_NAME.fullmatch(text))
