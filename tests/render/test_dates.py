from __future__ import annotations

from datetime import date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.dates import moment, offset_of


@given(st.dates())
def test_a_date_alone_is_a_date(day: date) -> None:
    assert day == moment(day.isoformat())
    assert not isinstance(moment(day.isoformat()), datetime)


@given(st.datetimes(), st.none() | st.integers(-14 * 60, 14 * 60))
def test_a_time_keeps_its_offset(taken: datetime, minutes: int | None) -> None:
    zoned = taken.replace(tzinfo=None if minutes is None else timezone(timedelta(minutes=minutes)))
    read = moment(zoned.isoformat())
    assert isinstance(read, datetime)
    assert (zoned, zoned.utcoffset()) == (read, read.utcoffset())
    assert zoned.isoformat().endswith(offset_of(read))
    assert (offset_of(read) == "") == (minutes is None)


@pytest.mark.parametrize("text", ["", "last week", "2026-02-30", "2026-09-12T25:00:00", "12.09.2026"])
def test_what_is_no_date_is_named(text: str) -> None:
    with pytest.raises(ValueError, match=f"the date '{text}' is not ISO 8601"):
        moment(text)
