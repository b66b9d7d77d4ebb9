"""The words of an IIM block, as far as they are ours to take.

Source: IPTC-NAA Information Interchange Model 4.2: datasets of a marker, record, number and length (a length with its
highest bit set counts the bytes of the length that follows); 1:90 names the character set; dates are CCYYMMDD,
times HHMMSS+HHMM. Lengths in octets: [IPTC] TechReference 2021.1.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.frames.clean import decoded, moment, plain, plain_line, plain_list
from pipeline.frames.words import Words

if TYPE_CHECKING:
    from collections.abc import Iterator

MARKER = 0x1C
MAX_DATASETS = 5000
CHARACTER_SET = (1, 90)
UTF_8 = b"\x1b%G"
TITLE, KEYWORDS, CREATED_DAY, CREATED_TIME, BY_LINE, BY_LINE_TITLE = 5, 25, 55, 60, 80, 85
HEADLINE, CREDIT, SOURCE, COPYRIGHT, CAPTION = 105, 110, 115, 116, 120

# Octets that a value may have; a longer one was cut on its way here.
LIMITS = {
    "title": 64, "keywords": 64, "creators": 32, "creator_title": 32, "headline": 256, "credit_line": 32,
    "source": 32, "copyright": 128, "description": 2000,
}  # fmt: skip


def iim_words(block: bytes) -> Words:
    """Return what the datasets say; never raises, and stops where the block is malformed."""
    found: dict[int, list[bytes]] = {}
    utf_8 = False
    for record, number, value in datasets(block):
        if (record, number) == CHARACTER_SET:
            utf_8 = value.strip() == UTF_8
        elif record == 2:
            found.setdefault(number, []).append(value)

    def texts(number: int) -> list[str]:
        values = found.get(number, [])
        return [value.decode("utf-8", "ignore") if utf_8 else decoded(value) for value in values]

    def first(number: int) -> str:
        return next(iter(texts(number)), "")

    return Words(
        title=plain_line(first(TITLE)),
        headline=plain(first(HEADLINE)),
        description=plain(first(CAPTION)),
        creators=plain_list(texts(BY_LINE)),
        creator_title=plain_line(first(BY_LINE_TITLE)),
        credit_line=plain_line(first(CREDIT)),
        copyright=plain(first(COPYRIGHT)),
        keywords=plain_list(texts(KEYWORDS)),
        source=plain_line(first(SOURCE)),
        date_created=_date(first(CREATED_DAY), first(CREATED_TIME)),
    )


def datasets(block: bytes) -> Iterator[tuple[int, int, bytes]]:
    """Yield record, number and value of each dataset until the block ends or is malformed."""
    at = 0
    for _ in range(MAX_DATASETS):
        head = block[at : at + 5]
        if len(head) < 5 or head[0] != MARKER:
            return
        length, at = int.from_bytes(head[3:5], "big"), at + 5
        if length & 0x8000:
            width = length & 0x7FFF
            if width > 4:
                return
            length, at = int.from_bytes(block[at : at + width], "big"), at + width
        value = block[at : at + length]
        if len(value) < length:
            return
        yield head[1], head[2], value
        at += length


def _date(day: str, time: str) -> str | None:
    """Return ISO 8601 of a day and, where there is one, a time; None for a day that is not wholly known (00)."""
    whole = f"{day[:4]}-{day[4:6]}-{day[6:8]}"
    if len(day) != 8 or moment(whole) is None:
        return None
    offset = f"{time[6:9]}:{time[9:11]}" if len(time) == 11 else ""
    return moment(f"{whole}T{time[:2]}:{time[2:4]}:{time[4:6]}{offset}") or moment(whole)
