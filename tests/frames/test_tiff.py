"""The bounded directory reader against tifffile, and against files made to hang it."""

from __future__ import annotations

import io
import struct
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

import numpy as np
import pytest
import tifffile
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.frames.tiff import MAX_DIRECTORIES, MAX_VALUE_BYTES, Tiff, open_tiff
from tests.frames.files import dng_with_thumbnail, mosaic, tiff_of

if TYPE_CHECKING:
    from pathlib import Path


def opened(data: bytes) -> Tiff:
    tiff = open_tiff(io.BytesIO(data))
    assert tiff is not None
    return tiff


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("bigtiff", [False, True])
def test_every_field_equals_what_tifffile_reads(byteorder: Literal["<", ">"], *, bigtiff: bool) -> None:
    out = io.BytesIO()
    with tifffile.TiffWriter(out, byteorder=byteorder, bigtiff=bigtiff) as writer:
        for shade in range(3):
            writer.write(
                np.full((30, 40, 3), shade, np.uint16),
                photometric="rgb",
                rowsperstrip=7,
                resolution=((300000, 1001), (72, 1)),
                extratags=[(271, 2, 0, "Crème & Co".encode(), True), (65000, 12, 1, 2.5, True)],
            )
    tiff = opened(out.getvalue())
    walk = tiff.walk()
    with tifffile.TiffFile(io.BytesIO(out.getvalue())) as expected:
        assert len(expected.pages) == len(walk.directories) == 3
        assert not walk.dangling
        for page, directory in zip(expected.pages, walk.directories, strict=True):
            assert isinstance(page, tifffile.TiffPage)
            assert {tag.code for tag in page.tags} == set(directory.entries)
            assert tuple(page.tags["StripOffsets"].value) == tiff.whole_numbers(directory.entries[273])
            assert tuple(page.tags["StripByteCounts"].value) == tiff.whole_numbers(directory.entries[279])
            assert Fraction(*page.tags["XResolution"].value) == tiff.fraction(directory.entries[282])
            assert tiff.number(directory.entries[256]) == 40
            assert tiff.text(directory.entries[271]) == "Crème & Co"
            assert tiff.whole_numbers(directory.entries[65000]) == ()


def test_sub_directories_are_walked(tmp_path: Path) -> None:
    path = dng_with_thumbnail(mosaic(np.full((32, 48, 3), 0.2)), tmp_path / "raw.tif")
    tiff = opened(path.read_bytes())
    sizes = [tuple(tiff.number(found.entries[tag]) for tag in (256, 257, 262)) for found in tiff.walk().directories]
    assert sizes == [(32, 24, 2), (48, 32, 32803)]


def test_a_directory_that_follows_itself_is_visited_once() -> None:
    walk = opened(tiff_of([(256, 4, 1, 10)], following=8)).walk()
    assert len(walk.directories) == 1
    assert not walk.dangling


def test_sub_directories_that_point_at_each_other_end() -> None:
    # Two directories of one field each (18 bytes apart): each names the other as SubIFD and as its follower.
    first = struct.pack("<HHHII", 1, 330, 4, 1, 26) + struct.pack("<I", 26)
    second = struct.pack("<HHHII", 1, 330, 4, 1, 8) + struct.pack("<I", 8)
    walk = opened(b"II*\0" + struct.pack("<I", 8) + first + second).walk()
    assert [directory.offset for directory in walk.directories] == [8, 26]


def test_a_long_chain_is_followed_to_the_cap_only() -> None:
    links = b"".join(struct.pack("<HHHIII", 1, 256, 4, 1, 1, 8 + 18 * (index + 1)) for index in range(1000))
    walk = opened(b"II*\0" + struct.pack("<I", 8) + links).walk()
    assert len(walk.directories) == MAX_DIRECTORIES


@pytest.mark.parametrize("offset", [0xFFFFFFF0, 5000])
def test_a_directory_beyond_the_end_is_dangling(offset: int) -> None:
    assert opened(tiff_of([(330, 4, 1, offset)])).walk().dangling
    assert opened(tiff_of([(256, 4, 1, 1)], following=offset)).walk().dangling


def test_a_cut_directory_gives_the_fields_that_are_there() -> None:
    data = tiff_of([(256, 4, 1, 640), (257, 4, 1, 480), (258, 3, 1, 8)])
    walk = opened(data[: 8 + 2 + 12 + 12 + 5]).walk()
    assert {256, 257} == set(walk.directories[0].entries)
    assert walk.dangling


def test_values_beyond_the_end_or_the_cap_are_empty() -> None:
    data = tiff_of([(273, 4, 0xFFFFFFFF, 8), (279, 4, 10, 0xFFFFFF00), (282, 5, 1, 70)], tail=b"\0" * 8)
    tiff = opened(data)
    entries = tiff.walk().directories[0].entries
    assert MAX_VALUE_BYTES < 4 * 0xFFFFFFFF
    assert tiff.whole_numbers(entries[273]) == ()
    assert tiff.whole_numbers(entries[279]) == ()
    assert tiff.fraction(entries[282]) is None
    assert tiff.lacks_values(tiff.walk().directories[0])
    whole = opened(tiff_of([(282, 5, 1, 26)], tail=b"\0" * 8))
    assert not whole.lacks_values(whole.walk().directories[0])


def test_a_zero_denominator_is_no_number() -> None:
    at = 8 + 2 + 12 + 4
    tiff = opened(tiff_of([(0x829A, 5, 1, at)], tail=struct.pack("<II", 1, 0)))
    assert tiff.fraction(tiff.walk().directories[0].entries[0x829A]) is None


@pytest.mark.parametrize(
    "data", [b"", b"II", b"II*\0", b"II*\0\0\0\0", b"MM\0*", b"II+\0\x08\0\0\0", b"IM*\0\x08\0\0\0"]
)
def test_too_short_or_other_starts_are_no_tiff(data: bytes) -> None:
    assert open_tiff(io.BytesIO(data)) is None


STARTS = (b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"II+\0\x08\0\0\0\x10\0\0\0\0\0\0\0", b"IIRO\x08\0\0\0")


@given(start=st.sampled_from(STARTS), body=st.binary(max_size=400))
@example(start=STARTS[0], body=b"\xff\xff" + b"\x4a\x01\x04\0\xff\xff\xff\xff\x08\0\0\0" * 30)
@example(start=STARTS[2], body=b"\xff" * 8 + b"\x4a\x01\x12\0" + b"\xff" * 400)
def test_no_content_raises_or_hangs(start: bytes, body: bytes) -> None:
    tiff = opened(start + body)
    walk = tiff.walk()
    assert len(walk.directories) <= MAX_DIRECTORIES
    for directory in walk.directories:
        for entry in directory.entries.values():
            tiff.text(entry)
            tiff.fraction(entry)
            assert len(tiff.data(entry)) <= len(start + body)
