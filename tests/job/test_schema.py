"""The schema judged by an independent validator of draft 2020-12."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from pipeline.job.explain import json_text
from pipeline.job.schema import job_schema
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, faults_of, write_job

SAMPLE = Path(__file__).resolve().parents[2] / "sample_shoot" / "job.toml"


def complaints(text: str) -> list[str]:
    """Return what an editor would mark in a job file: TOML's dates are ISO text in JSON."""
    validator = Draft202012Validator(json.loads(job_schema()))
    return [error.json_path for error in validator.iter_errors(json.loads(json_text(tomllib.loads(text))))]


def test_it_is_a_schema_of_the_draft_it_names() -> None:
    schema: dict[str, Any] = json.loads(job_schema())
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(schema)


def test_it_accepts_the_sample_shoot() -> None:
    assert complaints(SAMPLE.read_text(encoding="utf-8")) == []


GOOD = [
    JOB,
    JOB + 'alt.en = "A bowl"\n'.replace("alt.en", "caption.en"),
    JOB + '[[frames.crops]]\ntarget = "blog/step"\nanchor = [0.2, 0.3]\n',
    JOB + '[targets."blog/hero".sharpen]\namount = 0.5\n[targets."blog/hero"]\nwidths = [5]\n',
    JOB + f'[targets."blog/poster"]{OWN_TARGET}',
    HEAD.replace('title = "Bean soup"', 'title = "Bean soup"\ndate = 2026-09-12') + FRAME,
]
BAD = [
    (JOB.replace("title", "titel"), "$.shoot"),
    (JOB.replace("[0.5, 0.5]", "[0.5, 1.5]"), "$.frames[0].subject"),
    (JOB.replace("[0.5, 0.5]", "[0.5]"), "$.frames[0].subject"),
    (JOB + 'view = "above"\n', "$.frames[0].view"),
    (JOB + "alt = 3\n".replace("alt", "caption"), "$.frames[0].caption"),
    (JOB + '[[frames.crops]]\ntarget = "blog/step"\nanchor = "center"\n', "$.frames[0].crops[0].anchor"),
    (JOB + '[targets."blog/hero"]\nwidths = ["5"]\n', "$.targets['blog/hero'].widths"),
    (JOB + "[targets.hero]\nreach = 0.1\n", "$.targets"),
    (HEAD, "$"),
]


@pytest.mark.parametrize("text", GOOD)
def test_what_it_accepts_is_a_job(tmp_path: Path, text: str) -> None:
    assert complaints(text) == []
    assert faults_of(write_job(tmp_path, text)) == []


@pytest.mark.parametrize(("text", "where"), BAD)
def test_what_it_refuses_is_none(tmp_path: Path, text: str, where: str) -> None:
    assert where in complaints(text)
    assert faults_of(write_job(tmp_path, text))
