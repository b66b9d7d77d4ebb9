"""Claimed sizes against what each writer was given, and against cut and patched files."""

from __future__ import annotations

import io
import struct
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.claim import claimed_size
from pipeline.light.box import Size
from tests.frames.files import encoded, noise, tiff_of

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

FORMATS: list[tuple[str, FrameFormat, dict[str, Any]]] = [
    ("JPEG", "jpeg", {}),
    ("JPEG", "jpeg", {"progressive": True, "comment": b"x" * 70}),
    ("PNG", "png", {}),
    ("WEBP", "webp", {"lossless": True}),
    ("WEBP", "webp", {"quality": 80}),
    ("WEBP", "webp", {"icc_profile": b"\0" * 200}),
    ("AVIF", "avif", {}),
    ("TIFF", "tiff", {}),
    ("TIFF", "tiff", {"compression": "tiff_lzw"}),
]


@pytest.mark.parametrize(("kind", "frame_format", "settings"), FORMATS)
@pytest.mark.parametrize("size", [(48, 64), (1, 301)])
def test_size_as_written(kind: str, frame_format: FrameFormat, settings: dict[str, Any], size: tuple[int, int]) -> None:
    data = encoded(noise(*size), kind, **settings)
    assert Size(size[1], size[0]) == claimed_size(io.BytesIO(data), frame_format)


@pytest.mark.parametrize(("kind", "frame_format", "settings"), FORMATS)
def test_a_cut_header_claims_nothing_wrong(kind: str, frame_format: FrameFormat, settings: dict[str, Any]) -> None:
    data = encoded(noise(), kind, **settings)
    for length in range(0, min(len(data), 700), 3):
        assert claimed_size(io.BytesIO(data[:length]), frame_format) in (None, Size(64, 48))


def test_fill_bytes_and_other_segments_before_a_jpeg_frame_header() -> None:
    frame = struct.pack(">BBHBHHB", 0xFF, 0xC2, 11, 8, 65535, 40000, 1)
    tables = b"\xff\xff\xff\xc4\0\x05abc" + b"\xff\x01"
    assert Size(40000, 65535) == claimed_size(io.BytesIO(b"\xff\xd8" + tables + frame), "jpeg")


def test_a_jpeg_of_endless_tiny_segments_is_left() -> None:
    assert claimed_size(io.BytesIO(b"\xff\xd8" + b"\xff\xe0\0\0" * 20_000), "jpeg") is None


@pytest.mark.parametrize("size", [(0, 10), (10, 0)])
def test_no_width_or_height_is_no_size(size: tuple[int, int]) -> None:
    width, height = size
    png = encoded(noise(), "PNG").replace(struct.pack(">II", 64, 48), struct.pack(">II", width, height), 1)
    assert claimed_size(io.BytesIO(png), "png") is None
    assert claimed_size(io.BytesIO(tiff_of([(256, 4, 1, width), (257, 4, 1, height)])), "tiff") is None


@given(
    st.sampled_from(["jpeg", "png", "webp", "avif", "tiff", "raw"]),
    st.sampled_from([b"", b"\xff\xd8", b"II*\0\x08\0\0\0"]),
    st.binary(max_size=80),
)
def test_no_content_raises(frame_format: FrameFormat, start: bytes, body: bytes) -> None:
    size = claimed_size(io.BytesIO(start + body), frame_format)
    assert size is None or size.pixels > 0
