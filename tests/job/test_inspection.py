"""`[inspection]` in a job: thresholds changed by name, all faults at once; and frames whose subject is to be found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.job.asked import request_of, with_subject
from pipeline.job.read import read_job
from pipeline.light.box import Point, Region
from pipeline.light.thresholds import house_thresholds
from tests.small_shoot import FRAME, HEAD, JOB, faults_of, write_job

if TYPE_CHECKING:
    from pathlib import Path

AUTO = JOB.replace("[0.5, 0.5]", '"auto"')
HAND = '[[frames.crops]]\ntarget = "blog/step"\nsubject = [0.1, 0.2]\n'
FOUND, KEEP = Point(0.3, 0.7), Region(0.2, 0.5, 0.4, 0.9)


def test_a_job_that_changes_nothing_is_judged_by_the_house_thresholds(tmp_path: Path) -> None:
    assert read_job(write_job(tmp_path)).thresholds == house_thresholds()


def test_a_job_changes_a_threshold(tmp_path: Path) -> None:
    job = read_job(write_job(tmp_path, JOB + "[inspection]\nsure_subject = 1\n"))
    assert job.thresholds == house_thresholds().with_values({"sure_subject": 1.0})


def test_what_is_wrong_with_them_is_told_with_all_other_faults(tmp_path: Path) -> None:
    text = JOB.replace("alt =", "alz =") + (
        '[inspection]\nsure_subjekt = 0.5\nsure_subject = 1.5\nother = 2\ntilt_deg = "a lot"\nfocus_ratio = nan\n'
    )
    told = faults_of(write_job(tmp_path, text))
    assert [fault for fault in told if "inspection" in fault] == [
        'job.toml: inspection: tilt_deg: found "a lot"; it must be a number',
        "job.toml: inspection: focus_ratio: found nan; it must be a plain number such as 0.5",
        (
            "job.toml: inspection: sure_subjekt: no threshold is called 'sure_subjekt'; "
            "docs/inspection.md lists them all; did you mean 'sure_subject'?"
        ),
        "job.toml: inspection: sure_subject: found 1.5; it must be from 0 to 1",
        "job.toml: inspection: other: no threshold is called 'other'; docs/inspection.md lists them all",
    ]
    assert any("'alz' is no key" in fault for fault in told)


@pytest.mark.parametrize("table", ["inspection = 3\n", 'inspection = ["sure_subject"]\n'])
def test_what_is_no_table_at_all(tmp_path: Path, table: str) -> None:
    assert len(faults_of(write_job(tmp_path, table + JOB))) == 1


@pytest.mark.parametrize("word", ['"Auto"', '"centre"', '""', "true"])
def test_no_other_word_stands_for_a_subject(tmp_path: Path, word: str) -> None:
    told = faults_of(write_job(tmp_path, JOB.replace("[0.5, 0.5]", word)))
    assert len(told) == 1
    assert told[0].endswith(
        'write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge), or "auto"'
    )


def test_keys_of_how_a_frame_was_taken(tmp_path: Path) -> None:
    text = JOB + "action = true\n" + FRAME.replace("bowl", "bread") + "tripod = true\n"
    entries = [asked.entry for asked in read_job(write_job(tmp_path, text, ("bowl.jpg", "bread.jpg"))).frames]
    assert [(entry.action, entry.tripod) for entry in entries] == [(True, None), (False, True)]


def test_a_subject_that_is_to_be_found_counts_as_the_middle_until_then(tmp_path: Path) -> None:
    asked = read_job(write_job(tmp_path, AUTO)).frames[0]
    assert (asked.to_find, asked.subject, asked.keep) == (True, Point(0.5, 0.5), None)
    found = with_subject(asked, FOUND, KEEP)
    assert (found.to_find, found.subject, found.keep) == (False, FOUND, KEEP)
    assert [(one.subject, one.keep) for one in found.requests] == [(FOUND, KEEP)]
    assert asked.requests[0].subject == Point(0.5, 0.5), "nothing is changed in place"


def test_her_own_keep_box_and_her_hand_at_a_target_stay(tmp_path: Path) -> None:
    asked = read_job(write_job(tmp_path, f"{AUTO}keep = [0.0, 0.0, 1.0, 0.5]\n{HAND}")).frames[0]
    found = with_subject(asked, FOUND, KEEP)
    own = Region(0.0, 0.0, 1.0, 0.5)
    assert (found.subject, found.keep) == (FOUND, own)
    assert [(one.subject, one.keep) for one in found.requests] == [(Point(0.1, 0.2), own)]


def test_a_request_asked_again_is_the_same(tmp_path: Path) -> None:
    text = f"{HEAD}{FRAME}keep = [0.0, 0.0, 1.0, 0.5]\n{HAND}anchor = [0.4, 0.4]\n"
    asked = read_job(write_job(tmp_path, text)).frames[0]
    assert asked.requests == tuple(request_of(asked.entry, one) for one in asked.requests)
