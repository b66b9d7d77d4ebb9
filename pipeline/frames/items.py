"""The metadata items of an AVIF or HEIC file: Exif and XMP of its main picture.

As in `pipeline.frames.boxes`, sizes and counts are claims: reads are capped and no function raises on any content.
Source: ISO/IEC 14496-12 8.11.3 (iloc), 8.11.6 (iinf), 8.11.12 (iref), ISO/IEC 23008-12 Annex A (Exif and XMP items,
`cdsc` references); from memory.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames import boxes

if TYPE_CHECKING:
    from collections.abc import Iterator

MAX_ITEMS = 4096
MAX_EXTENTS = 4096
XMP_TYPE = b"application/rdf+xml"


@dataclass(frozen=True, slots=True)
class _Cursor:
    """Big-endian numbers of a payload, read by their widths in bytes. Raises IndexError at its end."""

    data: bytes
    place: list[int]

    def number(self, width: int) -> int:
        at = self.place[0]
        if at + width > len(self.data):
            raise IndexError("the box is cut short")
        self.place[0] = at + width
        return int.from_bytes(self.data[at : at + width], "big")


def exif_item(stream: BinaryIO, limit: int) -> bytes:
    """Return the Exif of the main picture, beginning with its TIFF header; b"" where there is none."""
    data = _item(stream, b"Exif", limit)
    if len(data) < 4:
        return b""
    return data[4 + int.from_bytes(data[:4], "big") :]


def xmp_item(stream: BinaryIO, limit: int) -> bytes:
    """Return the XMP packet of the main picture; b"" where there is none."""
    return _item(stream, b"mime", limit)


def lack_data(stream: BinaryIO) -> bool:
    """Return whether an item, such as a tile of the picture, ends beyond the end of the file.

    Decoders pass over a tile that is not there and leave its place black. Data in other files count as there.
    """
    length = boxes.file_length(stream)
    table = boxes.find(stream, 0, length, b"meta", b"iloc")
    if table is None:
        return False
    try:
        places = list(_places(boxes.payload(stream, table)))
    except IndexError:
        return True
    return any(offset + size > length for _, method, extents in places if method == 0 for offset, size in extents or ())


def _item(stream: BinaryIO, kind: bytes, limit: int) -> bytes:
    """Return the first item of a kind that does not belong to another picture; b"" where its place is malformed."""
    length = boxes.file_length(stream)
    meta = boxes.find(stream, 0, length, b"meta")
    if meta is None:
        return b""
    parts = {box.kind: box for box in boxes.boxes(stream, meta.start + 4, min(meta.end, length))}
    if b"iinf" not in parts or b"iloc" not in parts:
        return b""
    try:
        others = _described_elsewhere(stream, parts, length)
        number = next((one for one in _items_of_kind(stream, parts[b"iinf"], kind, length) if one not in others), None)
        places = _places(boxes.payload(stream, parts[b"iloc"]))
        method, extents = next(((how, where) for item, how, where in places if item == number), (0, None))
    except (struct.error, IndexError):
        return b""
    if extents is None:
        return b""
    inner = parts.get(b"idat")
    if method not in (0, 1) or (method == 1 and inner is None):
        return b""
    base = inner.start if method == 1 and inner else 0
    found = b""
    for offset, size in extents:
        stream.seek(min(base + offset, length))
        found += stream.read(min(size or limit, limit + 1 - len(found)))
        if len(found) > limit:
            return b""
    return found


def _items_of_kind(stream: BinaryIO, box: boxes.MediaBox, kind: bytes, length: int) -> Iterator[int]:
    """Yield the numbers of the items of a kind, of `mime` only XMP."""
    wide_count = boxes.payload(stream, box, 1) != b"\0"
    inside = boxes.boxes(stream, box.start + (8 if wide_count else 6), min(box.end, length))
    for entry in [one for one in inside if one.kind == b"infe"][:MAX_ITEMS]:
        data = boxes.payload(stream, entry, 512)
        if len(data) < 12 or data[0] not in (2, 3):
            continue
        width = 2 if data[0] == 2 else 4
        at = 4 + width + 2
        if data[at : at + 4] != kind:
            continue
        content_type = [*data[at + 4 :].split(b"\0"), b"", b""][1]
        if kind != b"mime" or content_type.strip().lower() == XMP_TYPE:
            yield int.from_bytes(data[4 : 4 + width], "big")


def _described_elsewhere(stream: BinaryIO, parts: dict[bytes, boxes.MediaBox], length: int) -> set[int]:
    """Return the items that describe pictures, but not the main one."""
    primary, references = parts.get(b"pitm"), parts.get(b"iref")
    if primary is None or references is None:
        return set()
    head = boxes.payload(stream, primary, 8)
    main = int.from_bytes(head[4 : 8 if head[:1] != b"\0" else 6], "big")
    width = 4 if boxes.payload(stream, references, 1) != b"\0" else 2
    others: set[int] = set()
    for box in boxes.boxes(stream, references.start + 4, min(references.end, length)):
        if box.kind == b"cdsc":
            cursor = _Cursor(boxes.payload(stream, box), [0])
            source, count = cursor.number(width), cursor.number(2)
            if main not in {cursor.number(width) for _ in range(count)}:
                others.add(source)
    return others


def _places(data: bytes) -> Iterator[tuple[int, int, list[tuple[int, int]] | None]]:
    """Yield of each item its number, construction method and (offset, length) of each extent, from an `iloc` payload.

    The extents are None where they lie in another file. Raises IndexError where the payload is cut.
    """
    cursor = _Cursor(data, [0])
    version, _ = cursor.number(1), cursor.number(3)
    sizes, more = cursor.number(1), cursor.number(1)
    offset_size, length_size, base_size = sizes >> 4, sizes & 15, more >> 4
    index_size = more & 15 if version in (1, 2) else 0
    for _ in range(min(cursor.number(4 if version == 2 else 2), MAX_ITEMS)):
        item = cursor.number(4 if version == 2 else 2)
        method = cursor.number(2) & 15 if version in (1, 2) else 0
        elsewhere, base = cursor.number(2), cursor.number(base_size)
        extents = []
        width = index_size + offset_size + length_size
        for _ in range(min(cursor.number(2), MAX_EXTENTS if width else 1)):
            cursor.number(index_size)
            extents.append((base + cursor.number(offset_size), cursor.number(length_size)))
        yield item, method, None if elsewhere else extents
