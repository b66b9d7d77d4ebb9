"""The pixel size that a file claims, read from its first bytes before any decoder sees it.

A half-megabyte PNG can claim 65536 x 65536 pixels; the limit must be checked before anyone believes it.
Sources: [JPEG] ITU-T T.81 B.2.2 (frame header), [PNG3] 11.2.1 (IHDR), [WEBP] container, RFC 6386 9.1 (VP8),
[TIFF6] tags 256 and 257; from memory but PNG3 and WEBP.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames.boxes import still_facts
from pipeline.frames.tiff import open_tiff
from pipeline.light.box import Size

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

MAX_SEGMENTS = 10_000
IMAGE_WIDTH, IMAGE_LENGTH = 256, 257
# T.81 table B.1: every SOFn; C4, C8 and CC in the same row are other segments.
FRAME_HEADERS = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
ALONE = {0x01, *range(0xD0, 0xD9)}


def claimed_size(stream: BinaryIO, frame_format: FrameFormat) -> Size | None:
    """Return the stored size that the header claims; None where the header ends before it says so.

    Covers every format but raw (None): raws say it in each maker's own way, see `raw_header`.
    Never raises on any content.
    """
    readers = {"jpeg": _jpeg, "png": _png, "webp": _webp, "avif": _media, "heic": _media, "tiff": _tiff}
    reader = readers.get(frame_format)
    size = reader(stream) if reader else None
    return size if size and size.width and size.height else None


def _jpeg(stream: BinaryIO) -> Size | None:
    at = 2
    for _ in range(MAX_SEGMENTS):
        stream.seek(at)
        head = stream.read(9)
        if len(head) < 4 or head[0] != 0xFF:
            return None
        marker = head[1]
        if marker in FRAME_HEADERS:
            return Size(*reversed(struct.unpack(">HH", head[5:9]))) if len(head) == 9 else None
        if marker == 0xFF:
            at += 1
        elif marker in ALONE:
            at += 2
        else:
            at += 2 + max(2, struct.unpack(">H", head[2:4])[0])
    return None


def _png(stream: BinaryIO) -> Size | None:
    stream.seek(12)
    head = stream.read(12)
    return Size(*struct.unpack(">II", head[4:])) if len(head) == 12 and head[:4] == b"IHDR" else None


def _webp(stream: BinaryIO) -> Size | None:
    stream.seek(12)
    head = stream.read(18)
    if len(head) < 18:
        return None
    kind, body = head[:4], head[8:]
    if kind == b"VP8X":
        return Size(1 + int.from_bytes(body[4:7], "little"), 1 + int.from_bytes(body[7:10], "little"))
    if kind == b"VP8L":
        packed = int.from_bytes(body[1:5], "little")
        return Size(1 + (packed & 0x3FFF), 1 + (packed >> 14 & 0x3FFF))
    if kind == b"VP8 ":
        width, height = struct.unpack("<HH", body[6:10])
        return Size(width & 0x3FFF, height & 0x3FFF)
    return None


def _media(stream: BinaryIO) -> Size | None:
    return still_facts(stream).size


def _tiff(stream: BinaryIO) -> Size | None:
    tiff = open_tiff(stream)
    directory = tiff.directory(tiff.first) if tiff else None
    if tiff is None or directory is None:
        return None
    width, height = (tiff.number(directory.entries.get(tag)) for tag in (IMAGE_WIDTH, IMAGE_LENGTH))
    return Size(width, height) if width and height else None
