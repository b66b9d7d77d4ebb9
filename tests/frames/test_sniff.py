"""A file is what its bytes are, whatever it is called."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.sniff import HEAD_BYTES, looks_like, sniff, sniff_stream
from tests.frames.files import dng, dng_with_thumbnail, encoded, mosaic, noise, put, tiff_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import FrameFormat

LEVELS = mosaic(np.full((32, 48, 3), 0.2))


@pytest.mark.parametrize("extension", ["jpg", "tif", "png", "dng", "txt", ""])
@pytest.mark.parametrize(
    ("kind", "expected"),
    [("JPEG", "jpeg"), ("PNG", "png"), ("WEBP", "webp"), ("AVIF", "avif"), ("TIFF", "tiff")],
)
def test_the_extension_does_not_matter(tmp_path: Path, kind: str, expected: FrameFormat, extension: str) -> None:
    assert expected == sniff(put(tmp_path, f"frame.{extension}", encoded(noise(), kind)))


def test_a_dng_is_a_raw_under_any_name(tmp_path: Path) -> None:
    assert sniff(put(tmp_path, "frame.tif", dng(LEVELS))) == "raw"
    assert sniff(dng_with_thumbnail(LEVELS, tmp_path / "frame.jpg")) == "raw"


def test_sensor_data_in_a_sub_directory_make_a_raw_without_a_dng_version(tmp_path: Path) -> None:
    assert sniff(dng_with_thumbnail(LEVELS, tmp_path / "frame.nef", dng_version=False)) == "raw"


def test_a_dng_cut_before_its_sensor_data_is_no_plain_tiff(tmp_path: Path) -> None:
    # Only the preview is left in the file: as a TIFF it would open, small and wrong.
    data = dng_with_thumbnail(LEVELS, tmp_path / "whole.dng").read_bytes()
    with tifffile.TiffFile(tmp_path / "whole.dng") as whole:
        (nested,) = whole.pages.first.tags["SubIFDs"].value
    assert sniff_stream(io.BytesIO(data[:nested])) == "raw"


@pytest.mark.parametrize("photometric", [32803, 34892])
def test_photometric_of_sensor_data_makes_a_raw(photometric: int) -> None:
    assert sniff_stream(io.BytesIO(tiff_of([(262, 3, 1, photometric)]))) == "raw"


def test_a_plain_tiff_in_both_orders_is_a_tiff() -> None:
    assert sniff_stream(io.BytesIO(tiff_of([(262, 3, 1, 2)]))) == "tiff"
    assert sniff_stream(io.BytesIO(b"MM\0*\0\0\0\x08\0\0\0\0\0\0")) == "tiff"


@pytest.mark.parametrize(
    "start",  # makers' magic numbers, from memory
    [
        b"FUJIFILMCCD-RAW 0201",
        b"IIRO\x08\0\0\0",
        b"IIRS\x08\0\0\0",
        b"MMOR\0\0\0\x08",
        b"IIU\0\x08\0\0\0",
        b"II*\0\x10\0\0\0CR\x02\0",
        b"\0\0\0\x18ftypcrx \0\0\0\x01crx isom",
        b"II\x1a\0\0\0HEAPCCDR",
        b"FOVb",
    ],
)
def test_raws_by_their_first_bytes(start: bytes) -> None:
    assert sniff_stream(io.BytesIO(start + b"\0" * 64)) == "raw"


@pytest.mark.parametrize(
    ("major", "compatible", "expected"),
    [
        (b"avif", [b"mif1", b"miaf"], "avif"),
        (b"mif1", [b"avif", b"miaf"], "avif"),
        (b"avis", [b"msf1"], "avif"),
        (b"heic", [b"mif1", b"heic"], "heic"),
        (b"heix", [], "heic"),
        (b"mif1", [b"heic"], "heic"),
        (b"isom", [b"mp41"], None),
    ],
)
def test_brands(major: bytes, compatible: list[bytes], expected: FrameFormat | None) -> None:
    body = major + b"\0\0\0\0" + b"".join(compatible)
    data = (8 + len(body)).to_bytes(4, "big") + b"ftyp" + body + b"\0\0\0\x08avif"  # the last is another box
    assert expected == sniff_stream(io.BytesIO(data))


@pytest.mark.parametrize(
    ("head", "words"),
    [
        (b"Soup for four\nTomatoes, beans\n", "a text file"),
        ("Crème brûlée".encode() * 400, "a text file"),
        (b"\xef\xbb\xbfslug,alt\n", "a text file"),
        (b"\n<!DOCTYPE html><html>", "a web page"),
        (b"%PDF-1.7\n", "a PDF document"),
        (b"GIF89a\x01\0", "a GIF picture"),
        (b"PK\x03\x04\x14\0", "a ZIP archive"),
        (b"8BPS\0\x01", "a layered working file (PSD)"),
        (b"\0\0\0\x1cftypisom\0\0\x02\0", "a video"),
        (b"\x00\x01\x02\xfe\xff", "nothing known here"),
    ],
)
def test_what_other_files_look_like(head: bytes, words: str) -> None:
    assert words == looks_like(head[:HEAD_BYTES])
    assert sniff_stream(io.BytesIO(head)) is None


@given(
    start=st.sampled_from([b"", b"II*\0\x08\0\0\0", b"\0\0\0\x18ftyp", b"RIFF", b"MM\0+"]), body=st.binary(max_size=99)
)
def test_no_content_raises(start: bytes, body: bytes) -> None:
    assert sniff_stream(io.BytesIO(start + body)) in {None, "tiff", "raw", "avif", "heic", "webp", "jpeg", "png"}
    assert looks_like(start + body)
