"""The whole sample shoot, exported once: every file is there, right, and says the same to every reader.

In tests/run the built wheel has just made it, and what is looked at is a copy of that; else it is made here.
"""

from __future__ import annotations

import datetime as dt
import io
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.review.take import take_replies
from pipeline.deliver.verify.verify import verify
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import SRGB
from tests.deliver.review.shoot import answer
from tests.render.readers import (
    WITH_IIM,
    exiftool_reading,
    exiv2_reading,
    expected,
    mwg_reading,
    packet_in,
    rdflib_reading,
    read_by_exiftool,
)
from tests.render.test_readers_agree import only, reconciled

if TYPE_CHECKING:
    from pipeline.plan.rendition import Output, Rendition


JOB = Path(__file__).parents[1] / "sample_shoot" / "job.toml"
PRIVATE = ("GPS", "Serial", "OwnerName", "MakerNote", "Thumbnail", "ImageUniqueID")
# Exif ColorSpace and the rest of a camera's exposure leave with the files of this policy alone.
CAMERA = ("IFD0:Make", "IFD0:Model", "ExifIFD:FNumber", "ExifIFD:ISO")


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Summary]:
    """Return the output folder and what came of the export, once the partner had approved what she is asked about."""
    made = os.environ.get("PLATELINE_SAMPLE")
    job = tmp_path_factory.mktemp("sample") / "job.toml"
    left_out = () if made else ("out", "replies")
    shutil.copytree(made or JOB.parent, job.parent, dirs_exist_ok=True, ignore=shutil.ignore_patterns(*left_out))
    out = job.parent / "out"
    first = export(Asked(job, out, workers=2, quiet=True), io.StringIO())
    assert bool(first.rendered) != bool(made), "the same pictures, whoever makes them"
    asked = [one.name for one in first.plan.renditions if one.waits]
    assert len(asked) == 3
    assert not any((out / output.path).exists() for one in first.plan.renditions if one.waits for output in one.outputs)
    take_replies(job, out, [answer(job, dict.fromkeys(asked, "approve"))], dt.date(2026, 11, 26))
    second = export(Asked(job, out, workers=2, quiet=True), io.StringIO())
    assert second.rendered == len(asked)
    return out, second


def delivered(summary: Summary) -> list[tuple[Rendition, Output]]:
    return [(rendition, output) for rendition in summary.plan.renditions for output in rendition.outputs]


def test_every_planned_file_is_made(shoot: tuple[Path, Summary]) -> None:
    out, summary = shoot
    assert summary.faults == ()
    planned = {output.path for _, output in delivered(summary)}
    assert len(planned) == 74
    assert planned == {
        str(path.relative_to(out)) for kind in ("blog", "feed", "print", "partner") for path in (out / kind).iterdir()
    }
    assert [one.name for one in summary.plan.renditions if one.refused] == ["bowl-with-basil/print/a4"]


def test_the_a4_page_is_just_large_enough(shoot: tuple[Path, Summary]) -> None:
    _, summary = shoot
    page = next(one for one in summary.plan.renditions if one.name == "bowl-and-flatbread/print/a4")
    # A4 with 3 mm bleed at 300 ppi is 2551 x 3579: arithmetic of ISO 216 and 25.4 mm to the inch.
    assert {(output.size.width, output.size.height) for output in page.outputs} == {(2551, 3579)}
    assert round(page.effective_ppi or 0) == 301


def test_sizes_and_profiles_are_as_planned(shoot: tuple[Path, Summary]) -> None:
    out, summary = shoot
    for _, output in delivered(summary):
        with Image.open(out / output.path) as image:
            assert (output.size.width, output.size.height) == image.size, output.path
            assert write_matrix_profile(SRGB) == image.info["icc_profile"], output.path


def test_three_readers_agree_on_every_fact_of_every_file(shoot: tuple[Path, Summary]) -> None:
    out, summary = shoot
    files = delivered(summary)
    tags = read_by_exiftool([out / output.path for _, output in files], "-use", "MWG")
    for (rendition, output), found in zip(files, tags, strict=True):
        right = expected(rendition.facts, rendition.policy, output.format)
        assert right == exiftool_reading(found), output.path
        assert right == exiv2_reading(out / output.path), output.path
        assert only("xmp", right) == rdflib_reading(packet_in(out / output.path)), output.path
        assert reconciled(right) == mwg_reading(found), output.path
        if output.format in WITH_IIM:
            assert found["File:CurrentIPTCDigest"] == found["Photoshop:IPTCDigest"], output.path


def test_nothing_private_leaves_and_no_camera_but_in_full(shoot: tuple[Path, Summary]) -> None:
    out, summary = shoot
    files = delivered(summary)
    before = read_by_exiftool(sorted((JOB.parent / "selects").iterdir()))
    assert all(any("GPS" in tag for tag in found) for found in before)  # or their absence would show nothing
    for (rendition, output), found in zip(
        files, read_by_exiftool([out / output.path for _, output in files]), strict=True
    ):
        assert [tag for tag in found if any(word in tag for word in PRIVATE)] == [], output.path
        assert (rendition.policy == "full") == all(tag in found for tag in CAMERA), output.path


def test_what_was_delivered_verifies(shoot: tuple[Path, Summary]) -> None:
    out, _ = shoot
    assert verify(out).findings == ()


def test_a_second_export_makes_nothing(shoot: tuple[Path, Summary]) -> None:
    out, first = shoot
    second = export(Asked(out.parent / "job.toml", out, workers=2, quiet=True), io.StringIO())
    assert (second.rendered, second.rewritten, second.kept) == (0, 0, first.rendered + first.kept)
