"""The day before which a picture may not be published, and the day its licence ends: which hold, and how they are said.

In words they stand in every format: the first in the instructions, which the IPTC Photo Metadata Standard has for
embargoes, and there first, because IIM cuts what is long; the end of a licence in its usage terms, of which it is one.
Of two days for one picture, the shoot's (or frame's) and its target's, the later beginning and the earlier end hold:
a day is never lifted by another that was written elsewhere.
"""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.job.target import Target
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
    "December",
)  # fmt: skip
_LENGTH_OF_DAY = len("2026-10-01")


def dated(facts: PictureFacts, target: Target | None = None) -> PictureFacts:
    """Return facts (as a policy has them) with the days that hold for a target, and with the words for them.

    A proof gives no licence, so none of its ends.
    """
    begins = _held(facts.not_before, target.not_before if target else None, max, time.min)
    ends = _held(facts.licence_ends, target.licence_ends if target else None, min, time.max)
    if target and target.metadata == "proof":
        ends = None
    instructions, terms = facts.instructions, facts.usage_terms
    if begins:
        instructions = _with_sentence(instructions, f"Not before {in_words(begins)}.", first=True)
    if ends:
        terms = _with_sentence(terms, f"Licence ends {in_words(ends)}.", first=False)
    return replace(facts, not_before=begins, licence_ends=ends, instructions=instructions, usage_terms=terms)


def _held(own: str | None, of_target: date | None, pick: Callable[..., str], where_silent: time) -> str | None:
    days = [day for day in (own, of_target.isoformat() if of_target else None) if day]
    return pick(days, key=lambda day: _on_the_clock(day, where_silent)) if days else None


def _on_the_clock(day: str, where_silent: time) -> datetime:
    """Return what a clock on the spot shows; days alone and times of several offsets can be put in order so."""
    at = parsed(day)
    return at.replace(tzinfo=None) if isinstance(at, datetime) else datetime.combine(at, where_silent)


def _with_sentence(words: str | None, sentence: str, *, first: bool) -> str:
    """Return words with a sentence before or behind them, unless it stands there already."""
    if not words or sentence in words:
        return words or sentence
    if first:
        return f"{sentence} {words}"
    stop = "" if unicodedata.category(words.rstrip()[-1:] or ".").startswith("P") else "."
    return f"{words.rstrip()}{stop} {sentence}"


def parsed(day: str) -> date | datetime:
    """Return a day alone, or a time with its offset; ValueError for anything but ISO 8601."""
    return date.fromisoformat(day) if len(day) <= _LENGTH_OF_DAY else datetime.fromisoformat(day)


def in_words(day: str) -> str:
    """Return "1 October 2026", or with a time "1 October 2026, 09:00 (UTC+02:00)"; seconds only where there are any."""
    at = parsed(day)
    words = f"{at.day} {MONTHS[at.month - 1]} {at.year}"
    if isinstance(at, datetime):
        words += f", {at:%H:%M:%S}".removesuffix(":00") + f" ({at.tzname()})"
    return words


def days_in_words(facts: PictureFacts) -> str:
    """Return "not before 1 October 2026; licence ends 30 September 2027", as far as there are such days."""
    begins = f"not before {in_words(facts.not_before)}" if facts.not_before else ""
    ends = f"licence ends {in_words(facts.licence_ends)}" if facts.licence_ends else ""
    return "; ".join(filter(None, (begins, ends)))


def has_come(not_before: str, now: datetime) -> bool:
    """Return whether a picture may be published. `now` is aware; a day alone begins at midnight where `now` is."""
    at = parsed(not_before)
    return now >= at if isinstance(at, datetime) else now.date() >= at


def has_ended(licence_ends: str, now: datetime) -> bool:
    """Return whether a licence is over; a day alone is its last, whole."""
    at = parsed(licence_ends)
    return now > at if isinstance(at, datetime) else now.date() > at


def day_cautions(facts: PictureFacts) -> Iterator[str]:
    """Yield what cannot be meant: a licence that ends before its picture may be published."""
    begins, ends = facts.not_before, facts.licence_ends
    if begins and ends and _on_the_clock(ends, time.max) < _on_the_clock(begins, time.min):
        yield f"its licence ends {in_words(ends)}, before the day it may be published, {in_words(begins)}"


def calendar_holds(plan: Plan) -> Literal["always", "today", "now"]:
    """Return how long what the calendar says of a plan holds: where a day has a time, no longer than this moment."""
    days = [day for one in plan.renditions for day in (one.facts.not_before, one.facts.licence_ends) if day]
    if any(len(day) > _LENGTH_OF_DAY for day in days):
        return "now"
    return "today" if days else "always"


def calendar_lines(plan: Plan, now: datetime) -> tuple[list[str], list[str]]:
    """Return what the calendar says today: cautions about licences that are over, notes about days to come."""
    over: dict[str, list[str]] = {}
    to_come: dict[str, list[str]] = {}
    for rendition in plan.renditions:
        facts = rendition.facts
        if facts.licence_ends and has_ended(facts.licence_ends, now):
            over.setdefault(f"its licence ended {in_words(facts.licence_ends)}", []).append(rendition.name)
        if facts.not_before and not has_come(facts.not_before, now):
            to_come.setdefault(f"not before {in_words(facts.not_before)}", []).append(rendition.name)
    return (
        [f"caution: {', '.join(names)}: {what}" for what, names in over.items()],
        [f"note: {', '.join(names)}: {what}" for what, names in to_come.items()],
    )
