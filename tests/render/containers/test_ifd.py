from __future__ import annotations

import io
from typing import get_args

import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st

from pipeline.render.containers.ifd import (
    HEADER_BYTES,
    ByteOrder,
    Entry,
    ExifBlock,
    longs,
    read_directory,
    read_exif,
    read_header,
    shorts,
    write_directory,
    write_exif,
    write_header,
)
from tests.render.containers.pictures import embedded

# Bytes of one value by type: TIFF 6.0, section 2, "Types" (13 from Technical Note 1).
WIDTHS = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
ORDERS = st.sampled_from(get_args(ByteOrder))


@st.composite
def entries(draw: st.DrawFn) -> dict[int, Entry]:
    found = {}
    for tag in draw(st.sets(st.integers(0, 65535), max_size=8)):
        kind = draw(st.sampled_from(sorted(WIDTHS)))
        size = draw(st.integers(0, 5)) * WIDTHS[kind]
        found[tag] = Entry(tag, kind, draw(st.binary(min_size=size, max_size=size)))
    return found


@given(entries(), ORDERS, st.integers(0, 50))
def test_a_directory_comes_back_in_either_order(drawn: dict[int, Entry], order: ByteOrder, place: int) -> None:
    at = HEADER_BYTES + 2 * place
    data = write_header(order, at).ljust(at, b"\0") + write_directory(drawn, order, at)
    assert read_header(data, "it") == (order, at)
    assert read_directory(data, order, at, range(65536), "it") == (drawn, 0)
    assert len(data) % 2 == 0


@given(entries(), ORDERS)
def test_the_length_depends_on_sizes_only(drawn: dict[int, Entry], order: ByteOrder) -> None:
    zeros = {tag: Entry(tag, entry.type, bytes(len(entry.value))) for tag, entry in drawn.items()}
    assert len(write_directory(drawn, order, 8)) == len(write_directory(zeros, order, 1 << 20))


@pytest.mark.parametrize("order", get_args(ByteOrder))
def test_tifffile_reads_what_is_written(order: ByteOrder) -> None:
    written = {
        256: longs(256, (70_000,)),
        270: Entry(270, 2, b"odd length\0\0"[:11]),
        258: shorts(258, (8, 9, 10)),
        282: Entry(282, 5, (300).to_bytes(4, "little") + (7).to_bytes(4, "little")),
    }
    data = write_header(order, 8) + write_directory(written, order, 8)
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        page = file.pages.first
        assert {tag.code: tag.value for tag in page.tags} == {
            256: 70_000,
            258: (8, 9, 10),
            270: "odd length",
            282: (300, 7),
        }


def test_numbers_of_each_width() -> None:
    assert shorts(1, (1, 65535)).numbers == (1, 65535)
    assert longs(1, (1, 1 << 31)).numbers == (1, 1 << 31)
    assert Entry(1, 5, longs(1, (7, 9)).value).numbers == (7, 9)
    assert Entry(1, 7, b"\x01\x02").numbers == (1, 2)
    assert Entry(1, 5, longs(1, (7, 9)).value).count == 1


def test_wanted_entries_only_are_looked_into() -> None:
    data = write_header("little", 8) + write_directory({1: Entry(1, 7, b"x"), 2: Entry(2, 7, b"y")}, "little", 8)
    damaged = data.replace(b"\x01\x00\x07\x00", b"\x01\x00\xff\x00")  # tag 1 gets the unknown type 255
    assert read_directory(damaged, "little", 8, {2}, "it") == ({2: Entry(2, 7, b"y")}, 0)
    with pytest.raises(ValueError, match="it: tag 1 has the unknown type 255"):
        read_directory(damaged, "little", 8, {1}, "it")


def test_an_entry_twice_is_refused() -> None:
    data = write_header("little", 8) + write_directory({1: Entry(1, 7, b"x"), 2: Entry(2, 7, b"y")}, "little", 8)
    with pytest.raises(ValueError, match="tag 1 is there twice"):
        read_directory(data.replace(b"\x02\x00\x07\x00", b"\x01\x00\x07\x00"), "little", 8, {1}, "it")


def test_a_block_comes_back_and_is_written_the_same() -> None:
    block = read_exif(embedded().exif)
    assert write_exif(block) == embedded().exif
    other: ByteOrder = "little" if block.order == "big" else "big"
    turned = read_exif(write_exif(ExifBlock(other, block.first, block.second)))
    assert (turned.first, turned.second) == (block.first, block.second)


@pytest.mark.parametrize("tag", [330, 34853, 37500, 40965])
def test_blocks_with_further_directories_are_refused(tag: int) -> None:
    """SubIFDs, GPS, maker note, interoperability: their offsets could not be kept, and they must not be written."""
    block = read_exif(embedded().exif)
    for first, second in (
        (block.first | {tag: longs(tag, (8,))}, block.second),
        (block.first, block.second | {tag: longs(tag, (8,))}),
    ):
        with pytest.raises(ValueError, match="must not be written"):
            read_exif(write_exif(ExifBlock(block.order, first, second)))


def test_a_block_with_a_second_picture_is_refused() -> None:
    data = bytearray(embedded().exif)
    count = int.from_bytes(data[8:10], "big")
    data[10 + 12 * count + 3] = 8
    with pytest.raises(ValueError, match="thumbnail"):
        read_exif(bytes(data))


def test_a_block_without_its_exif_directory_is_refused() -> None:
    with pytest.raises(ValueError, match="no Exif directory"):
        read_exif(write_header("big", 8) + write_directory({}, "big", 8))


def test_bad_headers_are_refused() -> None:
    for data in (b"", b"II", b"XX*\0\x08\0\0\0", b"II\x2b\0\x08\0\0\0", b"MM*\0\0\0\0\x08", b"II*\0\x08"):
        with pytest.raises(ValueError, match=r"it (does not begin|is BigTIFF|is cut short)"):
            read_header(data, "it")


def test_4_gib_is_the_end() -> None:
    with pytest.raises(ValueError, match="4 GiB"):
        write_directory({1: Entry(1, 7, bytes(6))}, "little", (1 << 32) - 16)
