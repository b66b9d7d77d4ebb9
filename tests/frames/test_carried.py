"""Blocks found in containers; what is damaged gives less and never an error."""

from __future__ import annotations

import hashlib
import io
import random
import struct
import zlib
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.frames.carried import Carried, carried_in
from pipeline.frames.exif_words import exif_words
from pipeline.frames.iim_words import iim_words
from pipeline.render.containers.embed import embed
from tests.frames.files import encoded, noise, with_chunk
from tests.render.containers import pictures

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>"
IIM = b"\x1c\x02\x05\x00\x04Bowl"


def carried(data: bytes, frame_format: FrameFormat) -> Carried:
    return carried_in(io.BytesIO(data), frame_format)


def segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body


def resource(number: int, data: bytes, name: bytes = b"") -> bytes:
    """Source: XMP Specification Part 3 (2020) 3.1.3."""
    head = b"8BIM" + number.to_bytes(2, "big") + bytes((len(name),)) + name + b"\0" * (1 - len(name) % 2)
    return head + len(data).to_bytes(4, "big") + data + b"\0" * (len(data) % 2)


def jpeg(*segments: bytes) -> bytes:
    whole = encoded(noise(16, 16), "JPEG")
    return whole[:2] + b"".join(segments) + whole[2:]


def test_iim_that_is_parted_between_segments_behind_other_resources() -> None:
    row = resource(1005, b"odd", b"named") + resource(0x0404, IIM)
    start = b"Photoshop 3.0\0"
    for cut in (10, 30, len(row)):
        found = carried(jpeg(segment(0xED, start + row[:cut]), segment(0xED, start + row[cut:])), "jpeg")
        assert (found.iim, found.iim_is_newer) == (IIM, False)


@pytest.mark.parametrize(
    ("digest", "newer"),
    [(hashlib.md5(IIM, usedforsecurity=False).digest(), False), (bytes(16), True), (b"short", False)],
)
def test_the_digest_beside_iim(digest: bytes, newer: bool) -> None:  # noqa: FBT001 (a column)
    row = resource(0x0404, IIM) + resource(0x0425, digest)
    assert carried(jpeg(segment(0xED, b"Photoshop 3.0\0" + row)), "jpeg").iim_is_newer == newer


def test_fill_bytes_before_a_marker_are_skipped() -> None:
    xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP)
    assert carried(jpeg(b"\xff\xff\xff", xmp), "jpeg").xmp == XMP


def test_what_stands_behind_the_first_scan_is_no_metadata() -> None:
    xmp = segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP)
    assert carried(encoded(noise(16, 16), "JPEG") + xmp, "jpeg") == Carried()


def itxt(text: bytes, compressed: int = 0, keyword: bytes = b"XML:com.adobe.xmp", language: bytes = b"") -> bytes:
    """Source: [PNG3] 11.3.3.4."""
    return keyword + bytes((0, compressed, 0)) + language + b"\0" + b"\0" + text


@pytest.mark.parametrize(
    ("chunk", "xmp", "notes"),
    [
        (itxt(XMP), XMP, 0),
        (itxt(XMP, language=b"en"), XMP, 0),
        (itxt(XMP, keyword=b"Comment"), b"", 0),
        (itxt(zlib.compress(XMP), compressed=1), b"", 1),
        (b"XML:com.adobe.xmp", b"", 0),
        (b"XML:com.adobe.xmp\0\0\0cut", b"", 0),
    ],
)
def test_xmp_of_png(chunk: bytes, xmp: bytes, notes: int) -> None:
    found = carried(with_chunk(encoded(noise(16, 16), "PNG"), b"iTXt", chunk), "png")
    assert (found.xmp, len(found.notes)) == (xmp, notes)


def test_xmp_behind_the_picture_of_a_png() -> None:
    png = encoded(noise(16, 16), "PNG")
    body = itxt(XMP)
    chunk = struct.pack(">I", len(body)) + b"iTXt" + body + struct.pack(">I", zlib.crc32(b"iTXt" + body))
    assert carried(png[:-12] + chunk + png[-12:], "png").xmp == XMP


@pytest.mark.parametrize("order", ["<", ">"])
def test_iim_that_a_tiff_calls_long(order: str) -> None:
    """Bytes of a LONG stand in the file's order, so that fours of the block are swapped. From memory."""
    block = IIM + b"\0" * (-len(IIM) % 4)
    count = len(block) // 4
    stored = struct.pack(f"{order}{count}I", *struct.unpack(f">{count}I", block))
    head = (b"II" if order == "<" else b"MM") + struct.pack(f"{order}HIHHHIII", 42, 8, 1, 33723, 4, count, 26, 0)
    assert carried(head + stored, "tiff").iim == block
    assert iim_words(block).title == "Bowl"


def test_a_packet_that_a_tiff_announces_and_does_not_hold() -> None:
    head = b"II" + struct.pack("<HIHHHIII", 42, 8, 1, 700, 1, 5000, 26, 0)
    assert carried(head + b"<x/>", "tiff").notes == ("the XMP is cut short or too large, and was not read",)


def test_exif_with_and_without_its_prefix_in_webp() -> None:
    exif = Image.Exif()
    exif[0x010E] = "Bowl"
    data = exif.tobytes()
    for block in (data, data.removeprefix(b"Exif\0\0")):
        found = carried(encoded(noise(16, 16), "WEBP", exif=block), "webp")
        assert exif_words(found.exif).description == "Bowl"


def test_the_preview_of_a_raw_that_holds_a_jpeg() -> None:
    """RAF: the place of the preview stands at byte 84. From memory."""
    inside = jpeg(segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP))
    data = b"FUJIFILMCCD-RAW".ljust(84, b" ") + struct.pack(">II", 148, len(inside))
    assert carried(data.ljust(148, b"\0") + inside, "raw").xmp == XMP


def test_the_packet_of_a_raw_made_of_boxes() -> None:
    """CR3: a `uuid` box of its own at the top. From memory."""
    kind = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
    data = struct.pack(">I4s4sI", 16, b"ftyp", b"crx ", 0) + struct.pack(">I4s", 24 + len(XMP), b"uuid") + kind + XMP
    assert carried(data, "raw").xmp == XMP


WRITTEN: dict[FrameFormat, bytes] = {
    pictures.format_of(name): embed(pictures.encoded(name), pictures.format_of(name), pictures.embedded())
    for name in ("jpeg", "png", "webp", "tiff-deflate", "avif")
}


@pytest.mark.parametrize("frame_format", WRITTEN)
def test_damaged_files_give_less_and_never_an_error(frame_format: FrameFormat) -> None:
    data, chance = WRITTEN[frame_format], random.Random(frame_format)  # noqa: S311 (no secret)
    for _ in range(150):
        damaged = bytearray(data[: chance.randrange(len(data))] if chance.random() < 0.3 else data)
        for _ in range(chance.randrange(1, 20)):
            at = min(int(chance.expovariate(1 / 800)), len(damaged) - 1)
            if damaged:
                damaged[at] = chance.randrange(256)
        found = carried(bytes(damaged), frame_format)
        exif_words(found.exif)
        assert max(len(found.xmp), len(found.iim)) <= len(data)


@given(st.binary(max_size=200), st.sampled_from(["jpeg", "png", "webp", "tiff", "avif", "raw", "heic"]))
def test_no_bytes_raise(data: bytes, frame_format: FrameFormat) -> None:
    starts = (b"", b"\xff\xd8", b"II*\0\x08\0\0\0", b"RIFF\0\0\0\0WEBP", b"\0\0\0\x10ftypcrx ", b"FUJIFILMCCD-RAW")
    for start in starts:
        found = carried(start + data, frame_format)
        assert len(found.xmp) <= len(start + data)
