"""Whether pictures are alike: sizes and formats are read from the files, and a profile left out is seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PIL import Image

from pipeline.light.box import Box, Size
from tests.bench.alike import colour_differences, wrong_pictures
from tests.bench.frames import encoded, frame_light, write_frame
from tests.bench.speed import CLOSE, CLOSE_OTHERS
from tests.bench.straight import Wanted

if TYPE_CHECKING:
    from pathlib import Path

SIZE = Size(480, 320)


def test_missing_pictures_and_other_sizes_and_formats_are_named(tmp_path: Path) -> None:
    picture = Image.new("RGB", (30, 20))
    names = ("right.jpg", "small.jpg", "kind.jpg", "gone.jpg")
    picture.save(tmp_path / "right.jpg")
    picture.resize((29, 20)).save(tmp_path / "small.jpg")
    picture.save(tmp_path / "kind.jpg", "WEBP")
    wanted = tuple(Wanted(Box(0, 0, 30, 20), Size(30, 20), tmp_path / name, 82) for name in names)
    assert wrong_pictures({tmp_path / "frame.jpg": wanted}) == list(names[1:])


def test_a_frames_profile_left_out_is_seen(tmp_path: Path) -> None:
    light = frame_light("coffee", SIZE)
    frame = write_frame(tmp_path / "coffee-adobe-rgb.jpg", light, "jpeg", "adobe-rgb")
    right, wrong = tmp_path / "right.jpg", tmp_path / "wrong.jpg"
    Image.fromarray(encoded(light, "srgb", 8)).save(right, quality=95, subsampling=0)
    Image.fromarray(encoded(light, "adobe-rgb", 8)).save(wrong, quality=95, subsampling=0)
    box = Box(0, 0, SIZE.width, SIZE.height)
    wanted = (Wanted(box, SIZE, right, 95), Wanted(box, SIZE, wrong, 95))
    found = colour_differences({frame: wanted})
    assert found["right.jpg"] < CLOSE < CLOSE_OTHERS < found["wrong.jpg"]
