from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.iim_words import datasets, iim_words
from pipeline.frames.words import Words


def dataset(record: int, number: int, value: bytes) -> bytes:
    """Source: IIM 4.2, 1.6 (standard dataset)."""
    return bytes((0x1C, record, number)) + len(value).to_bytes(2, "big") + value


UTF_8 = dataset(1, 90, b"\x1b%G")


@pytest.mark.parametrize(
    ("block", "title"),
    [
        (UTF_8 + dataset(2, 5, "Crème".encode()), "Crème"),
        (UTF_8 + dataset(2, 5, "Crème".encode()[:3]), "Cr"),  # cut inside a character by a careless writer
        (dataset(2, 5, "Crème".encode()), "Crème"),
        (dataset(2, 5, "Crème".encode("latin-1")), "Crème"),
        (dataset(2, 5, "“Crème”".encode("cp1252")), "“Crème”"),
        (dataset(2, 5, b"Bowl\0\x07") + dataset(2, 5, b"second"), "Bowl"),
    ],
)
def test_text_in_the_encodings_that_are_met(block: bytes, title: str) -> None:
    assert Words(title=title) == iim_words(block)


@pytest.mark.parametrize(
    ("day", "time", "date"),
    [
        (b"20260912", b"", "2026-09-12"),
        (b"20260912", b"102431+0200", "2026-09-12T10:24:31+02:00"),
        (b"20260912", b"102431-0930", "2026-09-12T10:24:31-09:30"),
        (b"20260912", b"102431", "2026-09-12T10:24:31"),
        (b"20260912", b"nonsense", "2026-09-12"),
        (b"20260000", b"", None),
        (b"20260931", b"", None),
        (b"2026", b"", None),
    ],
)
def test_dates_and_times(day: bytes, time: bytes, date: str | None) -> None:
    """IIM 4.2, 2:55 and 2:60: CCYYMMDD, zeros for what is not known; HHMMSS and offset."""
    assert iim_words(dataset(2, 55, day) + dataset(2, 60, time)) == Words(date_created=date)


def test_an_extended_dataset() -> None:
    """IIM 4.2, 1.6: the highest bit set, the other bits count the bytes of the length."""
    text = b"word " * 8000
    block = bytes((0x1C, 2, 120, 0x80, 4)) + len(text).to_bytes(4, "big") + text
    assert iim_words(block + dataset(2, 5, b"after")) == Words(description=text.decode().strip(), title="after")


@pytest.mark.parametrize("end", [b"\x1c\x02", b"\x1c\x02\x19\x00\x09four", b"\x1c\x02\x19\xff\xff", b"no marker"])
def test_what_comes_before_damage_is_read(end: bytes) -> None:
    assert Words(title="Bowl") == iim_words(dataset(2, 5, b"Bowl") + end)


@given(st.binary(max_size=300))
def test_no_bytes_raise(data: bytes) -> None:
    assert isinstance(iim_words(data), Words)
    assert sum(5 + len(value) for _, _, value in datasets(data)) <= len(data)
