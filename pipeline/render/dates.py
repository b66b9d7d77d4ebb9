"""Dates as the facts write them (ISO 8601), taken apart for the forms that Exif and IIM have."""

from __future__ import annotations

from datetime import date, datetime

_DATE_LENGTH = len("2026-09-12")


def moment(text: str) -> date | datetime:
    """Return a time with its offset where one is given, or a date alone; ValueError for anything but ISO 8601."""
    try:
        return date.fromisoformat(text) if len(text) <= _DATE_LENGTH else datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"the date {text!r} is not ISO 8601 (2026-09-12T10:24:31+02:00)") from None


def offset_of(taken: datetime) -> str:
    """Return "+HH:MM", or "" where no offset is known."""
    written = f"{taken:%z}"
    return f"{written[:3]}:{written[3:5]}" if written else ""
