"""A shoot of small frames for the tests: a folder, a job file, and plans of frames of any size without a pixel."""

from __future__ import annotations

import json
import tomllib
from typing import TYPE_CHECKING, Any

from PIL import Image

from pipeline.faults import RequestRefused
from pipeline.frames.header import CameraFacts, Header
from pipeline.job.read import read_job
from pipeline.light.box import Size
from pipeline.plan.build import build_plan

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.job.job import Job
    from pipeline.plan.rendition import Plan

HEAD = """\
profiles = ["blog", "feed", "print", "partner"]

[shoot]
title = "Bean soup"
targets = ["blog/step"]
"""


def own_target(**changes: object) -> str:
    """Return the keys of a target, as lines below its head: a square of 100 px, but for what is changed."""
    usual = {
        "about": "A square for the test",
        "ratio": "1:1",
        "widths": [100],
        "too_small": "shrink",
        "keep_miss": "caution",
        "formats": ["jpeg"],
        "metadata": "public",
    }
    return f'\n{_lines(usual | changes)}sharpen = {{ medium = "screen" }}\n'


def asked(file: str, **words: object) -> str:
    """Return the table of a frame, its subject in the middle unless it is named."""
    return f"\n[[frames]]\n{_lines({'file': file, 'subject': [0.5, 0.5]} | words)}"


def _lines(values: Mapping[str, object]) -> str:
    """Return keys and values as lines of TOML, which has texts, numbers and lists of JSON's form."""
    return "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in values.items())


OWN_TARGET = own_target()
FRAME = asked("bowl.jpg", alt="A bowl of soup")
JOB = HEAD + FRAME


def frame(path: Path, size: tuple[int, int] = (600, 400)) -> Path:
    """Save a small photograph-like JPEG, PNG or TIFF by the ending of its name; return its path."""
    path.parent.mkdir(parents=True, exist_ok=True)
    ramp = Image.linear_gradient("L").resize(size)
    Image.merge("RGB", (ramp, ramp.transpose(Image.Transpose.ROTATE_180), ramp)).save(path)
    return path


def write_job(folder: Path, text: str = JOB, frames: tuple[str, ...] = ("bowl.jpg",)) -> Path:
    """Write a job file and the frames that are not there yet; return the job file."""
    for name in frames:
        if not (folder / name).exists():
            frame(folder / name)
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def faults_of(job: Path) -> list[str]:
    """Return the sentences that a job file is refused with; none where it is sound."""
    try:
        read_job(job)
    except RequestRefused as refused:
        return [str(fault) for fault in refused.faults]
    return []


def header_of(path: Path, size: tuple[int, int], **facts: Any) -> Header:  # noqa: ANN401 (the fields of CameraFacts)
    """Return the header of an sRGB JPEG of a size, as if it had been read."""
    return Header(path, "jpeg", Size(*size), 1, 3, 8, alpha=False, icc_profile=b"icc", camera=CameraFacts(**facts))


def plan_of(
    folder: Path,
    text: str,
    *sizes: tuple[int, int],
    delivered: Mapping[str, str] | None = None,
    **facts: Any,  # noqa: ANN401
) -> tuple[Job, Plan]:
    """Return a job and its plan, its frames taken to be of these sizes; no picture has to be there."""
    tables = tomllib.loads(text)
    for entry in tables["frames"]:
        (folder / entry["file"]).touch()
    job_file = folder / "job.toml"
    job_file.write_text(text, encoding="utf-8")
    job = read_job(job_file)
    headers = {asked.slug: header_of(asked.path, size, **facts) for asked, size in zip(job.frames, sizes, strict=True)}
    return job, build_plan(job, headers, delivered or {})
