"""Which line of a job brings a picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.review.job_lines import how_to_leave_out
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.job.job import Job

JOB = """\
profiles = ["blog", "partner"]
[shoot]
title = "Bean soup"
targets = [
    "partner/*", "blog/step",
]

[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
keep = [
  0.1, 0.1, 0.9, 0.9]
targets = ["partner/*", "blog/step"]

[[frames]]
file = "spoon.jpg"
subject = [0.5, 0.5]
slug = "wooden-spoon"
"""


@pytest.fixture
def job(tmp_path: Path) -> Job:
    return plan_of(tmp_path, JOB, (600, 400), (600, 400))[0]


def test_a_frame_that_is_left_out_of_everything(job: Job) -> None:
    assert how_to_leave_out(job, "wooden-spoon", [], whole=True) == [
        "take the [[frames]] of spoon.jpg out of job.toml, line 15"
    ]


def test_a_pattern_that_brings_these_and_no_others(job: Job) -> None:
    assert how_to_leave_out(job, "bowl", ["partner/proof", "partner/final"], whole=False) == [
        'take "partner/*" out of the targets of bowl.jpg in job.toml, line 13'
    ]


def test_a_pattern_that_brings_others_too(job: Job) -> None:
    assert how_to_leave_out(job, "bowl", ["partner/proof"], whole=False) == [
        'take "partner/*" out of the targets of bowl.jpg in job.toml, line 13 and write "partner/final" instead'
    ]


def test_targets_that_all_frames_share(job: Job) -> None:
    assert how_to_leave_out(job, "wooden-spoon", ["blog/step"], whole=False) == [
        'give spoon.jpg targets of its own in job.toml: those of [shoot] say "blog/step", line 4'
    ]


def test_what_is_no_frame_is_a_pair(job: Job) -> None:
    assert how_to_leave_out(job, "both", ["feed/two-up"], whole=False) == ["take 'both' out of [[pairs]] in job.toml"]


@pytest.mark.parametrize("broken", ["", '[[frames]]\nfile = "x"', "\xff"])
def test_a_job_that_was_changed_meanwhile_gets_no_line_numbers(job: Job, broken: str) -> None:
    job.file.write_text(broken, encoding="latin-1")
    assert how_to_leave_out(job, "wooden-spoon", [], whole=True) == ["take the [[frames]] of spoon.jpg out of job.toml"]
