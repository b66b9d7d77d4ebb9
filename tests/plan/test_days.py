from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.plan.days import calendar_lines, dated, day_cautions, has_come, has_ended, in_words
from pipeline.plan.describe import PROOF_TERMS
from pipeline.plan.facts import PictureFacts
from tests.small_shoot import FRAME, HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

BERLIN = timezone(timedelta(hours=2))


def plan(folder: Path, head: str, frame: str = "", targets: str = '["partner/*"]') -> Plan:
    _, made = plan_of(folder, HEAD + head + FRAME + frame + f"targets = {targets}\n", (3000, 2000))
    return made


def held(folder: Path, shoot: str, of_frame: str = "", of_target: str = "") -> tuple[str | None, str | None]:
    """Return the two days that hold for one final."""
    target = f'[targets."partner/final"]\n{of_target}\n' if of_target else ""
    (rendition,) = plan(folder, shoot + target, of_frame, '["partner/final"]').renditions
    return rendition.facts.not_before, rendition.facts.licence_ends


def test_the_later_beginning_and_the_earlier_end_hold(tmp_path: Path) -> None:
    assert held(tmp_path, "not_before = 2026-10-01\n", of_target="not_before = 2026-11-01") == ("2026-11-01", None)
    assert held(tmp_path, "not_before = 2026-11-01\n", of_target="not_before = 2026-10-01") == ("2026-11-01", None)
    assert held(tmp_path, "licence_ends = 2027-01-01\n", of_target="licence_ends = 2028-01-01") == (None, "2027-01-01")
    assert held(tmp_path, "licence_ends = 2028-01-01\n", of_target="licence_ends = 2027-01-01") == (None, "2027-01-01")
    assert held(tmp_path, "", of_target="not_before = 2026-11-01") == ("2026-11-01", None)


def test_a_frames_own_day_goes_before_the_shoots(tmp_path: Path) -> None:
    assert held(tmp_path, "not_before = 2026-11-01\n", "not_before = 2026-10-01\n") == ("2026-10-01", None)


def test_a_time_of_a_day_is_later_than_the_day_and_earlier_than_its_end(tmp_path: Path) -> None:
    time = "2026-10-01T09:00:00+02:00"
    assert held(tmp_path, "not_before = 2026-10-01\n", of_target=f"not_before = {time}") == (time, None)
    assert held(tmp_path, "licence_ends = 2026-10-01\n", of_target=f"licence_ends = {time}") == (None, time)


def test_both_days_are_said_in_words(tmp_path: Path) -> None:
    head = (
        'not_before = 2026-10-01\nlicence_ends = 2027-09-30\ninstructions = "Ask for the crop"\n'
        '[credit]\nusage_terms = "Editorial use only"\n'
    )
    final, proof = sorted(plan(tmp_path, head).renditions, key=lambda one: one.target)
    assert final.facts.instructions == "Not before 1 October 2026. Ask for the crop"
    assert final.facts.usage_terms == "Editorial use only. Licence ends 30 September 2027."
    assert proof.facts.instructions == f"Not before 1 October 2026. {PROOF_TERMS}"
    assert (proof.facts.usage_terms, proof.facts.licence_ends) == (PROOF_TERMS, None)


def test_the_whole_frame_on_the_contact_sheet_says_them_too(tmp_path: Path) -> None:
    (frame,) = plan(tmp_path, "licence_ends = 2027-09-30\n").frames
    assert frame.whole.facts.usage_terms == "Licence ends 30 September 2027."
    assert frame.facts == frame.whole.facts


WORDS = st.none() | st.text(min_size=1, max_size=30)


@given(WORDS, WORDS)
def test_a_sentence_is_said_once_and_her_words_stay(terms: str | None, instructions: str | None) -> None:
    facts = PictureFacts(
        "en", usage_terms=terms, instructions=instructions, not_before="2026-10-01", licence_ends="2027-09-30"
    )
    once = dated(facts)
    assert once == dated(once)
    assert once.usage_terms is not None
    assert once.usage_terms.startswith((terms or "").rstrip())
    assert once.usage_terms.endswith("Licence ends 30 September 2027.")
    assert once.instructions is not None
    assert once.instructions.startswith("Not before 1 October 2026.")
    assert once.instructions.endswith(instructions or "")


@pytest.mark.parametrize("end", [".", "!", "؟", "।", "。", ")", "”"])
def test_a_sentence_that_ends_gets_no_second_stop(end: str) -> None:
    facts = dated(PictureFacts("en", usage_terms=f"Ask{end}", licence_ends="2027-09-30"))
    assert facts.usage_terms == f"Ask{end} Licence ends 30 September 2027."


@given(st.dates(min_value=date(1900, 1, 1)))
def test_a_day_in_words_is_read_as_that_day(day: date) -> None:
    """The oracle is the C library's own reader of dates, in its default locale."""
    assert datetime.strptime(in_words(day.isoformat()), "%d %B %Y").date() == day  # noqa: DTZ007 (a day alone)


@pytest.mark.parametrize(
    ("day", "words"),
    [
        ("2026-10-01T09:00:00+02:00", "1 October 2026, 09:00 (UTC+02:00)"),
        ("2026-10-01T09:00:30-03:30", "1 October 2026, 09:00:30 (UTC-03:30)"),
        ("2026-10-01T09:00:00+00:00", "1 October 2026, 09:00 (UTC)"),
    ],
)
def test_a_time_in_words(day: str, words: str) -> None:
    assert words == in_words(day)


def test_a_day_alone_begins_and_ends_at_midnight_where_the_machine_is() -> None:
    before, after = datetime(2026, 9, 30, 23, 59, 59, tzinfo=BERLIN), datetime(2026, 10, 1, tzinfo=BERLIN)
    assert (has_come("2026-10-01", before), has_come("2026-10-01", after)) == (False, True)
    assert (has_ended("2026-09-30", before), has_ended("2026-09-30", after)) == (False, True)


def test_a_time_is_the_same_everywhere() -> None:
    at = "2026-10-01T09:00:00+02:00"
    seven, before = datetime(2026, 10, 1, 7, tzinfo=UTC), datetime(2026, 10, 1, 6, 59, 59, tzinfo=UTC)
    assert (has_come(at, before), has_come(at, seven)) == (False, True)
    assert (has_ended(at, seven), has_ended(at, seven + timedelta(seconds=1))) == (False, True)


def test_a_licence_that_ends_before_it_begins_is_a_caution(tmp_path: Path) -> None:
    (rendition,) = plan(
        tmp_path, "not_before = 2027-01-01\nlicence_ends = 2026-12-31\n", "", '["partner/final"]'
    ).renditions
    assert rendition.cautions == (
        "its licence ends 31 December 2026, before the day it may be published, 1 January 2027",
    )
    assert list(day_cautions(PictureFacts("en", not_before="2027-01-01", licence_ends="2027-01-01"))) == []


def test_the_calendar_of_a_plan(tmp_path: Path) -> None:
    made = plan(tmp_path, "not_before = 2026-10-01\nlicence_ends = 2027-09-30\n")
    assert calendar_lines(made, datetime(2026, 10, 1, tzinfo=BERLIN)) == ([], [])
    assert calendar_lines(made, datetime(2026, 9, 30, tzinfo=BERLIN)) == (
        [],
        ["note: bowl/partner/proof, bowl/partner/final: not before 1 October 2026"],
    )
    assert calendar_lines(made, datetime(2027, 10, 1, tzinfo=BERLIN)) == (
        ["caution: bowl/partner/final: its licence ended 30 September 2027"],
        [],
    )
