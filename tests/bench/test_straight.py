"""The scripts of other tools make the pictures that were asked for, and these show the frame."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image, ImageCms

from pipeline.light.box import Box, Size
from tests.bench.frames import encoded, frame_light, write_frame
from tests.bench.straight import TOOLS, Wanted, job_file, run_straight
from tests.render.test_encode import huffman_tables

if TYPE_CHECKING:
    from pathlib import Path

    from tests.bench.frames import Kind, Tag

BOX, SMALL = Box(40, 20, 400, 300), Size(100, 75)


@pytest.mark.parametrize("tool", TOOLS)
@pytest.mark.parametrize(("kind", "tag"), [("jpeg", "srgb"), ("tiff", "adobe-rgb")])
def test_each_tool_makes_the_same_picture(tool: str, kind: Kind, tag: Tag, tmp_path: Path) -> None:
    light = frame_light("coffee", Size(600, 400))
    frame = write_frame(tmp_path / f"frame.{kind}", light, kind, tag)
    wanted = (Wanted(BOX, SMALL, tmp_path / "small.jpg", 82), Wanted(BOX, Size(200, 150), tmp_path / "large.jpg", 82))
    run_straight(tool, job_file(tmp_path / "job.json", {frame: wanted}))
    for one in wanted:
        with Image.open(one.out) as opened:
            assert (opened.format, opened.size) == ("JPEG", (one.size.width, one.size.height))
            profile = ImageCms.ImageCmsProfile(io.BytesIO(opened.info["icc_profile"]))
            assert "sRGB" in ImageCms.getProfileDescription(profile)
            found = np.asarray(opened)
        # They average code values, so the mean code of the part that was cut out is kept.
        part = encoded(light, "srgb", 8)[BOX.top : BOX.bottom, BOX.left : BOX.right]
        np.testing.assert_allclose(found.mean(axis=(0, 1)), part.mean(axis=(0, 1)), rtol=0, atol=1.5)


@pytest.mark.parametrize("tool", TOOLS)
def test_pictures_asked_for_alike_have_the_tables_and_the_chroma_of_the_benchs_job(tool: str, tmp_path: Path) -> None:
    frame = write_frame(tmp_path / "frame.jpg", frame_light("coffee", Size(600, 400)), "jpeg", "srgb")
    wanted = tuple(Wanted(BOX, SMALL, tmp_path / name, 82, alike=True) for name in ("one.jpg", "one.webp"))
    run_straight(tool, job_file(tmp_path / "job.json", {frame: wanted}))
    data = wanted[0].out.read_bytes()
    with Image.open(io.BytesIO(data)) as opened:
        assert (opened.format, opened.size) == ("JPEG", (SMALL.width, SMALL.height))
        assert [layer[1:3] for layer in opened.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]
        again = io.BytesIO()
        opened.save(again, "JPEG", quality="keep", optimize=False)
    assert set(huffman_tables(data)) == set(huffman_tables(again.getvalue()))
    with Image.open(wanted[1].out) as opened:
        assert opened.format == "WEBP"
