from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from tests.small_shoot import FRAME, HEAD, faults_of, plan_of, write_job

if TYPE_CHECKING:
    from pathlib import Path

WANTED = "write a day such as 2026-10-01, or a time with its offset such as 2026-10-01T09:00:00+02:00, without quotes"


def shoot(day: str) -> str:
    return HEAD + f"not_before = {day}\n" + FRAME


# TOML 1.0: an offset date-time may be written with a blank, and with Z; RFC 3339 is what it stands for.
@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("2026-10-01", "2026-10-01"),
        ("2026-10-01T09:00:00+02:00", "2026-10-01T09:00:00+02:00"),
        ("2026-10-01 09:00:00-03:30", "2026-10-01T09:00:00-03:30"),
        ("2026-10-01T09:00:00Z", "2026-10-01T09:00:00+00:00"),
    ],
)
def test_a_day_or_a_time_with_its_offset(tmp_path: Path, written: str, kept: str) -> None:
    _, plan = plan_of(tmp_path, shoot(written), (600, 400))
    assert {one.facts.not_before for one in plan.renditions} == {kept}


@pytest.mark.parametrize(
    "written",
    [
        "2026-10-01T09:00:00", "2026-10-01T09:00:00.5Z", "09:00:00", '"next spring"', '"20261001"', '"2026-W40-4"',
        "2026", "true",
    ],
)  # fmt: skip
def test_what_is_no_day_is_told(tmp_path: Path, written: str) -> None:
    (fault,) = faults_of(write_job(tmp_path, shoot(written)))
    assert fault.startswith("job.toml: shoot: not_before: found ")
    assert fault.endswith(WANTED)


def test_a_year_that_a_slip_of_the_hand_makes_is_told(tmp_path: Path) -> None:
    (fault,) = faults_of(write_job(tmp_path, shoot("0206-10-01")))
    assert fault == "job.toml: shoot: not_before: found 0206-10-01; it must lie in the year 1900 or later"


def test_a_target_has_days_too_in_a_profile_and_in_the_job(tmp_path: Path) -> None:
    days = '[targets."blog/step"]\nnot_before = 2026-10-01\nlicence_ends = 2027-09-30T18:00:00+02:00\n'
    _, plan = plan_of(tmp_path, HEAD + days + FRAME, (600, 400))
    (rendition,) = plan.renditions
    assert (rendition.facts.not_before, rendition.facts.licence_ends) == ("2026-10-01", "2027-09-30T18:00:00+02:00")


def test_a_day_of_a_target_that_is_none_is_told(tmp_path: Path) -> None:
    (fault,) = faults_of(write_job(tmp_path, HEAD + '[targets."blog/step"]\nlicence_ends = "soon"\n' + FRAME))
    assert fault == f'job.toml: targets."blog/step": licence_ends: found "soon"; {WANTED}'
