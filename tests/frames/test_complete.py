"""Missing bytes, told from the structure of a file alone."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING

import numpy as np
import pytest

from pipeline.frames.complete import is_cut_short, states_its_length
from tests.frames.files import dng, dng_with_thumbnail, encoded, mosaic, noise, tiff_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import FrameFormat

LEVELS = mosaic(np.full((32, 48, 3), 0.2))


@pytest.mark.parametrize(
    ("kind", "frame_format", "settings"),
    [
        ("JPEG", "jpeg", {}),
        ("PNG", "png", {}),
        ("WEBP", "webp", {"lossless": True}),
        ("AVIF", "avif", {}),
        ("TIFF", "tiff", {}),
        ("TIFF", "tiff", {"compression": "tiff_lzw"}),
    ],
)
def test_half_of_a_file_is_cut_and_the_whole_is_not(
    kind: str, frame_format: FrameFormat, settings: dict[str, str | bool]
) -> None:
    data = encoded(noise(), kind, **settings)
    assert not is_cut_short(io.BytesIO(data), frame_format)
    assert is_cut_short(io.BytesIO(data[: len(data) // 2]), frame_format)


def test_a_raw_short_of_its_last_byte_is_cut(tmp_path: Path) -> None:
    plain, nested = dng(LEVELS), dng_with_thumbnail(LEVELS, tmp_path / "nested.dng").read_bytes()
    for data in (plain, nested):
        assert states_its_length(io.BytesIO(data))
        assert not is_cut_short(io.BytesIO(data), "raw")
        assert is_cut_short(io.BytesIO(data[:-1]), "raw")
        assert is_cut_short(io.BytesIO(data[: len(data) // 2]), "raw")


def test_a_careless_pointer_of_a_preview_does_not_make_a_raw_cut() -> None:
    sensor = [(262, 3, 1, 32803), (273, 4, 1, 8), (279, 4, 1, 20)]
    data = tiff_of([*sensor, (513, 4, 1, 40)], following=0xFFFF0000)
    assert not is_cut_short(io.BytesIO(data), "raw")
    assert is_cut_short(io.BytesIO(tiff_of([*sensor, (514, 4, 1, 900), (513, 4, 1, 40)])), "raw")


def test_a_raf_names_the_end_of_its_parts() -> None:
    # Offset and length of preview, directory and sensor data from byte 84 (from memory).
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"\0") + struct.pack(">6I", 108, 10, 118, 10, 128, 40)
    data = head + b"\0" * 60
    assert not is_cut_short(io.BytesIO(data), "raw")
    assert is_cut_short(io.BytesIO(data[:-1]), "raw")
    assert is_cut_short(io.BytesIO(data[:90]), "raw")


def test_boxes_of_a_raw_that_end_beyond_the_file() -> None:
    data = b"\0\0\0\x10ftypcrx \0\0\0\0" + b"\0\0\0\x10mdat" + b"\0" * 8
    assert not is_cut_short(io.BytesIO(data), "raw")
    assert is_cut_short(io.BytesIO(data[:-1]), "raw")


def test_raws_that_do_not_say_where_they_end() -> None:
    for start in (b"IIU\0\x08\0\0\0", b"FOVb\0\0\0\0"):
        assert not states_its_length(io.BytesIO(start + b"\0" * 40))
        assert not is_cut_short(io.BytesIO(start + b"\0" * 40), "raw")
