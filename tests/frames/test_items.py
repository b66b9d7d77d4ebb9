from __future__ import annotations

import io
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.items import exif_item, lack_data, xmp_item

XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>"
OTHER = b"<other/>"


def box(kind: bytes, body: bytes) -> bytes:
    return struct.pack(">I4s", 8 + len(body), kind) + body


def full(kind: bytes, body: bytes, version: int = 0) -> bytes:
    return box(kind, bytes((version, 0, 0, 0)) + body)


def entry(number: int, kind: bytes, content_type: bytes = b"") -> bytes:
    """Source: ISO/IEC 14496-12 8.11.6.2."""
    tail = content_type + b"\0" if kind == b"mime" else b""
    return full(b"infe", struct.pack(">HH4s", number, 0, kind) + b"\0" + tail, 2)


def still(*, references: bytes, in_idat: bool, limit_claim: int | None = None) -> bytes:
    """Return the head of a file whose main picture is 1, with two packets: 2 (the first listed) and 3."""
    blocks = {2: OTHER, 3: XMP, 4: struct.pack(">I", 2) + b"??II*\0"}
    items = entry(2, b"mime", b"application/rdf+xml") + entry(3, b"mime", b"application/rdf+xml") + entry(4, b"Exif")
    items = entry(1, b"av01") + entry(5, b"mime", b"text/plain") + items
    data = b"".join(blocks.values())

    def meta(base: int) -> bytes:
        at, places = base, b""
        for number, block in blocks.items():
            half = len(block) // 2
            extents = ((at, half), (at + half, limit_claim or len(block) - half))
            method = struct.pack(">H", 1 if in_idat else 0)
            places += struct.pack(">H", number) + method + struct.pack(">HH", 0, 2)
            places += b"".join(struct.pack(">II", *extent) for extent in extents)
            at += len(block)
        location = full(b"iloc", bytes((0x44, 0)) + struct.pack(">H", len(blocks)) + places, 1)
        listed = full(b"iinf", struct.pack(">H", 5) + items)
        inside = full(b"pitm", struct.pack(">H", 1)) + listed + location + references
        return full(b"meta", inside + (box(b"idat", data) if in_idat else b""))

    start = box(b"ftyp", b"avif\0\0\0\0")
    if in_idat:
        return start + meta(0)
    return start + meta(len(start) + len(meta(0)) + 8) + box(b"mdat", data)


def describes(source: int, target: int) -> bytes:
    return full(b"iref", box(b"cdsc", struct.pack(">HHH", source, 1, target)))


@pytest.mark.parametrize("in_idat", [False, True])
def test_the_packet_of_another_picture_is_passed_over(in_idat: bool) -> None:  # noqa: FBT001 (of one kind)
    assert xmp_item(io.BytesIO(still(references=describes(2, 9), in_idat=in_idat)), 1000) == XMP
    assert xmp_item(io.BytesIO(still(references=describes(2, 1), in_idat=in_idat)), 1000) == OTHER
    assert xmp_item(io.BytesIO(still(references=b"", in_idat=in_idat)), 1000) == OTHER


def test_exif_begins_where_its_first_four_bytes_say() -> None:
    """Source: ISO/IEC 23008-12 Annex A.2.1, exif_tiff_header_offset."""
    assert exif_item(io.BytesIO(still(references=b"", in_idat=False)), 1000) == b"II*\0"


def test_an_item_above_the_limit_is_not_read() -> None:
    assert xmp_item(io.BytesIO(still(references=b"", in_idat=False)), len(OTHER) - 1) == b""
    data = still(references=b"", in_idat=False, limit_claim=0xFFFFFFFF)
    assert xmp_item(io.BytesIO(data + b"x" * 5000), 1000) == b""


def test_an_item_that_ends_beyond_the_file_is_missed() -> None:
    data = still(references=b"", in_idat=False)
    assert not lack_data(io.BytesIO(data))
    assert not lack_data(io.BytesIO(data + b"a maker's own trailer"))
    assert lack_data(io.BytesIO(data[:-1]))
    assert lack_data(io.BytesIO(still(references=b"", in_idat=False, limit_claim=100)))
    assert not lack_data(io.BytesIO(still(references=b"", in_idat=True)))


@given(st.integers(0, 400), st.integers(0, 255), st.integers(0, 400))
def test_no_damage_raises(at: int, value: int, end: int) -> None:
    data = bytearray(still(references=describes(2, 9), in_idat=False))
    data[at % len(data)] = value
    for found in (bytes(data), bytes(data[:end])):
        assert len(xmp_item(io.BytesIO(found), 1000)) <= 1000
        assert len(exif_item(io.BytesIO(found), 1000)) <= 1000
        assert lack_data(io.BytesIO(found)) in {True, False}
