"""A day, or a time of a day with its offset from UTC, as the job file and the profiles write it."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated

from pydantic import PlainValidator, WithJsonSchema

EARLIEST_YEAR = 1900
WANTED = "write a day such as 2026-10-01, or a time with its offset such as 2026-10-01T09:00:00+02:00, without quotes"
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_TIME = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}[+-]\d{2}:\d{2}", re.ASCII)


def _day(value: object) -> dt.date:
    """Refuse a time without its offset, which is another one in each place, and parts of a second, which no file has.

    The text is what TOML's days and times are as JSON (RFC 3339).
    """
    text = value if isinstance(value, str) else ""
    try:
        day = (
            dt.datetime.fromisoformat(text)
            if _TIME.fullmatch(text)
            else dt.date.fromisoformat(text if _DAY.fullmatch(text) else "")
        )
    except ValueError:
        raise ValueError(WANTED) from None
    if day.year < EARLIEST_YEAR:
        raise ValueError(f"it must lie in the year {EARLIEST_YEAR} or later")
    return day


# A day alone, or (a kind of day in Python too) a time with its offset.
Day = Annotated[
    dt.date,
    PlainValidator(_day),
    WithJsonSchema({"anyOf": [{"type": "string", "format": "date"}, {"type": "string", "format": "date-time"}]}),
]
