from __future__ import annotations

from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from pipeline.frames import clean


@given(st.text())
def test_whatever_is_left_can_stand_in_xml_and_toml(text: str) -> None:
    left = clean.plain(text)
    if left is None:
        return
    element = etree.Element("a")
    element.text = left  # lxml refuses what XML 1.0 cannot hold
    assert etree.fromstring(etree.tostring(element)).text == left
    assert left == left.strip() == clean.plain(left)
    assert "\x7f" not in left


def test_line_ends_are_one_and_control_characters_go() -> None:
    assert clean.plain(" a\r\nb\rc\x00\x07\x85\ud800 ") == "a\nb\nc"
    assert clean.plain_line(" a\r\n\tb ") == "a b"
    assert clean.plain(" \n ") is None


def test_lengths_are_capped() -> None:
    assert len(clean.plain("x" * 200_000) or "") == clean.MAX_CHARACTERS
    assert len(clean.plain_list([str(number) for number in range(9999)])) == clean.MAX_VALUES
    assert clean.plain_list(["a", " ", "a", "b"]) == ("a", "b")


@given(st.datetimes(min_value=datetime(1000, 1, 1)), st.sampled_from(["", "Z", "+02:00", "-09:30"]))  # noqa: DTZ001 (the offset is given apart)
def test_moments_are_iso_8601_as_the_standard_library_reads_it(when: datetime, offset: str) -> None:
    text = when.isoformat() + offset
    assert clean.moment(text) == datetime.fromisoformat(text).isoformat()


@pytest.mark.parametrize(
    "text",
    ["2026", "2026-09", "20260912", "2026-W37-6", "0001-01-01", "2026-09-12T25:00", "2026-09-12T10:24+99:00", "", None],
)  # fmt: skip
def test_what_is_no_whole_day(text: str | None) -> None:
    assert clean.moment(text) is None


@given(st.text(max_size=30))
def test_no_text_makes_a_cleaner_raise(text: str) -> None:
    assert clean.moment(text) is None or len(clean.moment(text) or "") >= 10
    assert clean.stars(text) in {None, -1, 1, 2, 3, 4, 5}
    assert clean.digital_source(text) is None
    assert clean.web_address(text) is None or text.strip().startswith("http")


def test_a_term_of_the_vocabulary_under_both_schemes() -> None:
    for scheme in ("http", "https"):
        address = f"{scheme}://cv.iptc.org/newscodes/digitalsourcetype/digitalCreation"
        assert clean.digital_source(address) == "digitalCreation"
