"""A bounded reader of ISO base media boxes: what AVIF and some raws say before their picture data.

As in `pipeline.frames.tiff`, sizes are claims: reads stop at the end of the file, loops are capped, and no
function raises on any content. Source: ISO/IEC 14496-12 clause 4.2 (boxes), ISO/IEC 23008-12 clauses 6.5.3
(ispe), 9.3 (ipco, ipma), ISO/IEC 14496-12 clause 12.1.5 (colr); from memory.
"""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from pipeline.light.box import Size

if TYPE_CHECKING:
    from collections.abc import Iterator

MAX_BOXES = 4096
MAX_PAYLOAD_BYTES = 1 << 18


@dataclass(frozen=True, slots=True)
class MediaBox:
    """One box: its four-letter kind, where its payload starts and where it claims to end."""

    kind: bytes
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Nclx:
    """Colour by code points of ITU-T H.273: primaries and transfer characteristics."""

    primaries: int
    transfer: int


@dataclass(frozen=True, slots=True)
class StillFacts:
    """What an AVIF's `meta` box says: the largest claimed size, and the main picture's code points."""

    size: Size | None
    nclx: Nclx | None


def boxes(stream: BinaryIO, start: int, end: int) -> Iterator[MediaBox]:
    """Yield the boxes between two places of the stream, in order, at most MAX_BOXES; a malformed size ends it."""
    at = start
    for _ in range(MAX_BOXES):
        if at + 8 > end:
            return
        stream.seek(at)
        head = stream.read(16)
        if len(head) < 8:
            return
        size, kind = struct.unpack_from(">I4s", head)
        body = 8
        if size == 1 and len(head) == 16:
            (size,), body = struct.unpack_from(">Q", head, 8), 16
        elif size == 0:
            size = end - at
        if size < body:
            return
        yield MediaBox(kind, at + body, at + size)
        at += size


def file_length(stream: BinaryIO) -> int:
    """Return how many bytes the stream has."""
    return stream.seek(0, os.SEEK_END)


def is_cut(stream: BinaryIO) -> bool:
    """Return whether a top-level box claims to end beyond the end of the file."""
    length = file_length(stream)
    return any(box.end > length for box in boxes(stream, 0, length))


def payload(stream: BinaryIO, box: MediaBox, limit: int = MAX_PAYLOAD_BYTES) -> bytes:
    """Return the payload of a box, at most `limit` bytes of it and no more than the file has."""
    stream.seek(box.start)
    return stream.read(max(0, min(box.end - box.start, limit)))


def find(stream: BinaryIO, start: int, end: int, *path: bytes) -> MediaBox | None:
    """Return the first box at a path of kinds; a `meta` on the way is entered behind its version and flags."""
    kind, *rest = path
    for box in boxes(stream, start, end):
        if box.kind == kind:
            return find(stream, box.start + (4 if kind == b"meta" else 0), box.end, *rest) if rest else box
    return None


def still_facts(stream: BinaryIO) -> StillFacts:
    """Return what an AVIF file claims of its pictures; parts that are missing or malformed are None."""
    length = file_length(stream)
    properties = find(stream, 0, length, b"meta", b"iprp", b"ipco")
    if properties is None:
        return StillFacts(None, None)
    listed = list(boxes(stream, properties.start, min(properties.end, length)))
    sizes = [size for box in listed if box.kind == b"ispe" and (size := _size(payload(stream, box, 12)))]
    main = _main_properties(stream, length)
    codes = [
        code
        for index, box in enumerate(listed, 1)
        if box.kind == b"colr" and (main is None or index in main) and (code := _nclx(payload(stream, box, 8)))
    ]
    return StillFacts(max(sizes, key=lambda size: size.pixels, default=None), codes[0] if codes else None)


def _size(data: bytes) -> Size | None:
    if len(data) < 12:
        return None
    width, height = struct.unpack_from(">II", data, 4)
    return Size(width, height)


def _nclx(data: bytes) -> Nclx | None:
    if len(data) < 8 or data[:4] != b"nclx":
        return None
    return Nclx(*struct.unpack_from(">HH", data, 4))


def _main_properties(stream: BinaryIO, length: int) -> set[int] | None:
    """Return the numbers (from 1) of the properties of the primary item; None where the file does not say."""
    primary, table = (find(stream, 0, length, b"meta", *path) for path in ((b"pitm",), (b"iprp", b"ipma")))
    if primary is None or table is None:
        return None
    try:
        item = _item_number(payload(stream, primary, 8))
        return _associations(payload(stream, table)).get(item)
    except (struct.error, IndexError):
        return None


def _item_number(data: bytes) -> int:
    (number,) = struct.unpack_from(">I" if data[0] else ">H", data, 4)
    return int(number)


def _associations(data: bytes) -> dict[int, set[int]]:
    """Return item number -> property numbers of an `ipma` payload. Raises struct.error or IndexError if cut."""
    version, wide = data[0], data[3] & 1
    item_code, index_code, index_mask = ">I" if version else ">H", ">H" if wide else ">B", 0x7FFF if wide else 0x7F
    (count,) = struct.unpack_from(">I", data, 4)
    at, found = 8, dict[int, set[int]]()
    for _ in range(count):
        (item,) = struct.unpack_from(item_code, data, at)
        at += struct.calcsize(item_code)
        step = struct.calcsize(index_code)
        numbers = {
            struct.unpack_from(index_code, data, at + 1 + step * index)[0] & index_mask for index in range(data[at])
        }
        at += 1 + step * data[at]
        found.setdefault(item, set()).update(numbers)
    return found
