"""The bench's jobs: what they ask for, and frames repeated under other names."""

from __future__ import annotations

import shutil
import tomllib
from collections import Counter
from typing import TYPE_CHECKING

import pytest

from tests.bench.shoot import JOB, OUTLETS, TIFF_JOB, repeated
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan


def planned(folder: Path, job: Path, frames: int) -> Plan:
    shutil.copytree(OUTLETS, folder / OUTLETS.name)
    return plan_of(folder, job.read_text(encoding="utf-8"), *[(6000, 4000)] * frames)[1]


@pytest.mark.parametrize(("job", "frames"), [(JOB, 12), (TIFF_JOB, 3)])
def test_each_frame_gets_nine_jpegs_and_a_webp(job: Path, frames: int, tmp_path: Path) -> None:
    plan = planned(tmp_path, job, frames)
    assert len(plan.frames) == frames
    for frame in plan.frames:
        outputs = [output for one in frame.renditions for output in one.outputs]
        assert Counter(output.format for output in outputs) == {"jpeg": 9, "webp": 1}
        sizes = sorted((output.size.width, output.size.height) for output in outputs)
        assert (sizes[0], sizes[-1]) == ((1080, 1350), (2400, 3000))
        assert len({one.crop.box for one in frame.renditions}) >= 2
    settings = [one.settings for one in plan.renditions if one.outputs[0].format == "jpeg"]
    assert {(one.jpeg_tables, one.progressive, one.finds_quality) for one in settings} == {("standard", False, False)}


def test_half_of_the_jpeg_frames_are_wide() -> None:
    files = [entry["file"] for entry in tomllib.loads(JOB.read_text(encoding="utf-8"))["frames"]]
    assert Counter("adobe-rgb" in file for file in files) == {True: 6, False: 6}


def test_frames_are_taken_in_turn_under_other_names() -> None:
    text = JOB.read_text(encoding="utf-8")
    assert repeated(text, None)[0] == text
    job, links = repeated(text, 30)
    entries = tomllib.loads(job)["frames"]
    assert len({entry["file"] for entry in entries}) == len({entry["slug"] for entry in entries}) == len(links) == 30
    assert [entry["file"] for entry in entries] == list(links)
    assert links["001-china-srgb.jpg"] == links["003-china-srgb.jpg"] == "china-srgb.jpg"
    assert max(Counter(links.values()).values()) == 3
    assert tomllib.loads(job)["shoot"] == tomllib.loads(text)["shoot"]
