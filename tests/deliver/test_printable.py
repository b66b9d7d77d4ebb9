"""Text as HTML can hold it. Source: HTML Living Standard 13.2.3.5 (input stream): what is a parse error there."""

from __future__ import annotations

import pytest

from pipeline.deliver.printable import printable

UNFIT = ["\x00", "\x0b", "\x1f", "\x7f", "\x9f", "\ud800", "\ufdd0", "\ufffe", "\U0001ffff", "\U0010fffe"]


@pytest.mark.parametrize("letter", UNFIT)
def test_what_no_document_may_contain_is_replaced(letter: str) -> None:
    assert printable(f"a{letter}b") == "a\N{REPLACEMENT CHARACTER}b"


@pytest.mark.parametrize("text", ["plain", "tab\tand\nline", "é 熱い 🍅", "\u202eright to left", "<b>&amp;"])
def test_all_else_stays(text: str) -> None:
    assert printable(text) == text


def test_there_is_one_kind_of_line_end() -> None:
    assert printable("a\r\nb\rc") == "a\nb\nc"
