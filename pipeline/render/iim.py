"""The IIM block of a delivered picture: the datasets that picture desks read, each cut to the length it may have.

Sources: IPTC-NAA Information Interchange Model 4.2 (record versions, 1:90 coded character set, lengths in octets, dates
as CCYYMMDD, times as HHMMSS+HHMM); IPTC Photo Metadata Standard 2025.1 (which field is which dataset); XMP
Specification Part 3 (2020) 3.2.2 (longer values are cut on the way into IIM; XMP keeps them whole).
"""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from pipeline.render.dates import moment, offset_of
from pipeline.render.stated import stated

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.facts import PictureFacts, Policy

_MARKER = b"\x1c"
_ENVELOPE, _APPLICATION = 1, 2
_VERSION = (4).to_bytes(2, "big")
_UTF_8 = b"\x1b%G"


class _Words(NamedTuple):
    """A dataset of words: number, octets at most, the fact it states, its values (more than one where repeatable)."""

    number: int
    limit: int
    fact: str
    values: tuple[str | None, ...]


@lru_cache(maxsize=16)  # the files of a frame say the same
def iim_block(facts: PictureFacts, policy: Policy) -> bytes:
    """Return the datasets of record 1 and 2 in ascending order, UTF-8, marked as such; equal facts give equal bytes.

    Words that are too long are cut behind the last whole character that fits (`iim_cuts` names them). IIM knows
    no time without its offset, and no time but to the second: a time of unknown offset leaves the date alone.
    What each policy leaves out is said by `stated`. ValueError for words that no file can carry and for dates that are
    not ISO 8601.
    """
    kept = stated(facts, policy)
    application = [_dataset(_APPLICATION, 0, _VERSION)]
    datasets = [*_cut_words(kept), *_days(kept)]
    application += [_dataset(_APPLICATION, number, value) for number, value in sorted(datasets, key=lambda one: one[0])]
    return _dataset(_ENVELOPE, 0, _VERSION) + _dataset(_ENVELOPE, 90, _UTF_8) + b"".join(application)


def iim_cuts(facts: PictureFacts) -> tuple[str, ...]:
    """Return the names of the facts that IIM cannot hold whole, in the order of their datasets, each once."""
    cut = {words.fact: None for words in _words(facts) for value in words.values if _is_cut(value, words.limit)}
    return tuple(cut)


def _words(facts: PictureFacts) -> tuple[_Words, ...]:
    """Return the datasets of words, ascending."""
    return (
        _Words(5, 64, "title", (facts.title,)),
        _Words(25, 64, "keywords", facts.keywords),
        _Words(40, 256, "instructions", (facts.instructions,)),
        _Words(80, 32, "creators", facts.creators),
        _Words(85, 32, "creator_title", (facts.creator_title,)),
        _Words(103, 32, "job_id", (facts.job_id,)),
        _Words(105, 256, "headline", (facts.headline,)),
        _Words(110, 32, "credit_line", (facts.credit_line,)),
        _Words(115, 32, "source", (facts.source,)),
        _Words(116, 128, "copyright", (facts.copyright,)),
        _Words(120, 2000, "description", (facts.description,)),
        _Words(122, 32, "caption_writer", (facts.caption_writer,)),
    )


def _cut_words(facts: PictureFacts) -> Iterator[tuple[int, bytes]]:
    for words in _words(facts):
        for value in words.values:
            if value:
                yield words.number, _cut(value, words.limit)


def _days(facts: PictureFacts) -> Iterator[tuple[int, bytes]]:
    """Give the dates 2:30 (release), 2:37 (expiration) and 2:55 (created), each with its time: 2:35, 2:38 and 2:60."""
    of_days = ((30, 35, facts.not_before), (37, 38, facts.licence_ends), (55, 60, facts.date_created))
    for of_day, of_time, text in of_days:
        if text:
            day = moment(text)
            yield of_day, f"{day:%Y%m%d}".encode()
            if isinstance(day, datetime) and day.utcoffset() is not None:
                yield of_time, f"{day:%H%M%S}{offset_of(day).replace(':', '')}".encode()


def _is_cut(value: str | None, limit: int) -> bool:
    return value is not None and len(value.encode("utf-8")) > limit


def _cut(value: str, limit: int) -> bytes:
    """Return at most `limit` octets of the text, ending behind a whole character."""
    return value.encode("utf-8")[:limit].decode("utf-8", "ignore").encode("utf-8")


def _dataset(record: int, number: int, value: bytes) -> bytes:
    """Return a standard dataset (at most 32767 octets, which no limit here comes near)."""
    return _MARKER + bytes((record, number)) + len(value).to_bytes(2, "big") + value
