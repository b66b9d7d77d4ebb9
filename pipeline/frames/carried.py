"""The metadata blocks of a frame as they stand in its container: Exif, IIM with its digest, XMP. No word is read here.

Every length is a claim by a stranger: reads are capped at MAX_BLOCK_BYTES a block, loops are counted, and no content
makes a function raise. Sources: XMP Specification Part 3 (2020) 1.1.3 (JPEG), 1.1.3.1 (extended XMP), Tables 9, 12, 13,
36 and 39, 3.1.3 (image resources); [PNG3] 11.3 (iTXt, eXIf); [WEBP]; the places in raws from memory.
"""

from __future__ import annotations

import hashlib
import io
import struct
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames import boxes, items
from pipeline.frames.camera_facts import EXIF_IFD, open_block
from pipeline.frames.complete import RAF_PLACES, RAF_START
from pipeline.frames.tiff import Tiff, open_tiff

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from pipeline.frames.camera_facts import Source
    from pipeline.frames.header import FrameFormat

MAX_BLOCK_BYTES = 4 << 20
MAX_SEGMENTS = 10_000
MAX_CHUNKS = 200_000  # a PNG holds its picture in pieces of a few kilobytes

EXIF_START, XMP_START = b"Exif\0\0", b"http://ns.adobe.com/xap/1.0/\0"
EXTENDED_START, RESOURCES_START = b"http://ns.adobe.com/xmp/extension/\0", b"Photoshop 3.0\0"
XMP_TAG, IIM_TAG, RESOURCES_TAG = 700, 33723, 34377
IIM_RESOURCE, DIGEST_RESOURCE = 0x0404, 0x0425
PNG_KEYWORD = b"XML:com.adobe.xmp\0"
SCAN, APP1, APP13 = 0xDA, 0xE1, 0xED
ALONE = {0x01, *range(0xD0, 0xD9)}
CR3_XMP = bytes.fromhex("be7acfcb97a942e89c71999491e3afac")
CR3_UUID = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
CR3_DIRECTORIES = (b"CMT2", b"CMT1")


@dataclass(frozen=True, slots=True)
class Carried:
    """The blocks of one frame; empty where it has none.

    `exif` are directories, the Exif one before the first. `iim_is_newer` is True where a digest of the IIM is stored
    and is not that of the IIM. `extended_xmp` are whole packets that belong to `xmp`. `notes` name what was malformed.
    """

    exif: tuple[Source, ...] = ()
    iim: bytes = b""
    iim_is_newer: bool = False
    xmp: bytes = b""
    extended_xmp: tuple[bytes, ...] = ()
    notes: tuple[str, ...] = ()


def carried_in(stream: BinaryIO, frame_format: FrameFormat) -> Carried:
    """Return the blocks of what the stream holds, taken for a file of this format.

    Never raises on content. The directories of a TIFF are read from the stream later: keep it open.
    """
    readers: dict[FrameFormat, Callable[[BinaryIO], Carried]] = {
        "jpeg": _jpeg, "tiff": _tiff, "png": _png, "webp": _webp, "avif": _media, "heic": _media, "raw": _raw,
    }  # fmt: skip
    reader = readers.get(frame_format)
    return reader(stream) if reader else Carried()


@dataclass(slots=True)
class _Pieces:
    """What the segments of a JPEG give, while they are read."""

    exif: bytes = b""
    xmp: bytes = b""
    resources: bytes = b""
    extended: dict[bytes, list[tuple[int, int, bytes]]] = field(default_factory=dict)
    extended_bytes: int = 0


def _jpeg(stream: BinaryIO, start: int = 0) -> Carried:
    pieces = _Pieces()
    for marker, body in _segments(stream, start):
        if marker == APP13 and body.startswith(RESOURCES_START) and len(pieces.resources) < MAX_BLOCK_BYTES:
            pieces.resources += body.removeprefix(RESOURCES_START)
        elif marker == APP1 and body.startswith(EXIF_START) and not pieces.exif:
            pieces.exif = body
        elif marker == APP1 and body.startswith(XMP_START) and not pieces.xmp:
            pieces.xmp = body.removeprefix(XMP_START)
        elif marker == APP1 and body.startswith(EXTENDED_START) and pieces.extended_bytes < MAX_BLOCK_BYTES:
            _keep_extended(pieces, body.removeprefix(EXTENDED_START))
    notes: list[str] = []
    extended = _assembled(pieces, notes)
    resources = _resources(pieces.resources)
    iim = resources.get(IIM_RESOURCE, b"")
    newer = _is_newer(iim, resources.get(DIGEST_RESOURCE, b""))
    return Carried(_directories(open_block(pieces.exif)), iim, newer, pieces.xmp, extended, tuple(notes))


def _segments(stream: BinaryIO, start: int) -> Iterator[tuple[int, bytes]]:
    """Yield marker and body of the metadata segments before the first scan."""
    at = start + 2
    for _ in range(MAX_SEGMENTS):
        stream.seek(at)
        head = stream.read(4)
        if len(head) < 4 or head[0] != 0xFF or head[1] == SCAN:
            return
        marker = head[1]
        if marker == 0xFF:
            at += 1
        elif marker in ALONE:
            at += 2
        else:
            length = max(2, int.from_bytes(head[2:], "big"))
            if marker in (APP1, APP13):
                yield marker, stream.read(length - 2)
            at += 2 + length


def _keep_extended(pieces: _Pieces, body: bytes) -> None:
    """Keep a chunk of extended XMP under its name: total length, offset, bytes."""
    if len(body) > 40:
        total, offset = struct.unpack_from(">II", body, 32)
        pieces.extended.setdefault(body[:32], []).append((total, offset, body[40:]))
        pieces.extended_bytes += len(body)


def _assembled(pieces: _Pieces, notes: list[str]) -> tuple[bytes, ...]:
    """Return the extended packet that the main one names, where its chunks make a whole of that digest."""
    if not (pieces.extended and pieces.xmp):
        return ()
    from pipeline.frames.xmp_words import extended_name  # noqa: PLC0415 (lxml; only for frames with extended XMP)

    name = extended_name(pieces.xmp)
    chunks = sorted(pieces.extended.get(name.encode(), []) if name else [], key=lambda chunk: chunk[1])
    packet = b"".join(chunk for _, _, chunk in chunks)
    if name and hashlib.md5(packet, usedforsecurity=False).hexdigest().upper() == name.upper():
        return (packet,)
    if name:
        notes.append("the extended XMP is not whole and was not read")
    return ()


def _resources(data: bytes) -> dict[int, bytes]:
    """Return the image resources of a row by number, the first of each, as far as the row is whole."""
    found = dict[int, bytes]()
    at = 0
    for _ in range(MAX_SEGMENTS):
        head = data[at : at + 7]
        if len(head) < 7 or head[:4] != b"8BIM":
            break
        name = 1 + head[6]
        at += 6 + name + name % 2
        length = int.from_bytes(data[at : at + 4], "big")
        body = data[at + 4 : at + 4 + length]
        if len(body) == length:
            found.setdefault(int.from_bytes(head[4:6], "big"), body)
        at += 4 + length + length % 2
    return found


def _is_newer(iim: bytes, digest: bytes) -> bool:
    """Return whether IIM was changed since its digest was stored (16 bytes of MD5); False where none is stored."""
    known = {hashlib.md5(block, usedforsecurity=False).digest() for block in (iim, iim.rstrip(b"\0"))}
    return bool(iim) and len(digest) == 16 and digest not in known


def _directories(tiff: Tiff | None) -> tuple[Source, ...]:
    """Return the Exif directory of a TIFF structure and its first one, as far as they are there."""
    first = tiff.directory(tiff.first) if tiff else None
    if tiff is None or first is None:
        return ()
    offset = tiff.number(first.entries.get(EXIF_IFD))
    exif = tiff.directory(offset) if offset else None
    return ((tiff, exif), (tiff, first)) if exif else ((tiff, first),)


def _tiff(stream: BinaryIO) -> Carried:
    """Return the blocks of a TIFF, or of a raw that is one inside."""
    whole = open_tiff(stream)
    first = whole.directory(whole.first) if whole else None
    if whole is None or first is None:
        return Carried()
    entries = first.entries
    resources = _resources(whole.data(entries.get(RESOURCES_TAG)))
    iim = _unswapped(whole.data(entries.get(IIM_TAG))) or resources.get(IIM_RESOURCE, b"")
    xmp = whole.data(entries.get(XMP_TAG))
    unread = XMP_TAG in entries and not xmp and entries[XMP_TAG].count > 0
    return Carried(
        exif=_directories(whole),
        iim=iim,
        iim_is_newer=_is_newer(iim, resources.get(DIGEST_RESOURCE, b"")),
        xmp=xmp,
        notes=("the XMP is cut short or too large, and was not read",) if unread else (),
    )


def _unswapped(iim: bytes) -> bytes:
    """Return an IIM block of a TIFF in its own order.

    Some writers call it LONG, so that its bytes are swapped in fours with those of the numbers. From memory.
    """
    if iim[:1] == b"\x1c" or iim[3:4] != b"\x1c" or len(iim) % 4:
        return iim
    count = len(iim) // 4
    return struct.pack(f">{count}I", *struct.unpack(f"<{count}I", iim))


def _png(stream: BinaryIO) -> Carried:
    exif = xmp = b""
    notes: list[str] = []
    at = 8
    for _ in range(MAX_CHUNKS):
        stream.seek(at)
        head = stream.read(8)
        if len(head) < 8 or head[4:] == b"IEND":
            break
        length = int.from_bytes(head[:4], "big")
        if head[4:] == b"eXIf" and not exif and length <= MAX_BLOCK_BYTES:
            exif = stream.read(length)
        elif head[4:] == b"iTXt" and not xmp:
            xmp = _text_chunk(stream.read(min(length, MAX_BLOCK_BYTES)), notes)
        at += 12 + length
    return Carried(exif=_directories(open_block(exif)), xmp=xmp, notes=tuple(notes))


def _text_chunk(body: bytes, notes: list[str]) -> bytes:
    """Return the packet of an iTXt chunk: behind keyword, two flags, language and translated keyword."""
    if not body.startswith(PNG_KEYWORD):
        return b""
    rest = body.removeprefix(PNG_KEYWORD)
    if rest[:1] != b"\0":
        notes.append("the XMP is compressed, which the standard forbids, and was not read")
        return b""
    return [*rest[2:].split(b"\0", 2), b"", b"", b""][2]


def _webp(stream: BinaryIO) -> Carried:
    found = dict[bytes, bytes]()
    at = 12
    for _ in range(MAX_SEGMENTS):
        stream.seek(at)
        head = stream.read(8)
        if len(head) < 8:
            break
        length = int.from_bytes(head[4:], "little")
        if head[:4] in (b"EXIF", b"XMP ") and length <= MAX_BLOCK_BYTES:
            found.setdefault(head[:4], stream.read(length))
        at += 8 + length + length % 2
    return Carried(exif=_directories(open_block(found.get(b"EXIF"))), xmp=found.get(b"XMP ", b""))


def _media(stream: BinaryIO) -> Carried:
    exif = items.exif_item(stream, MAX_BLOCK_BYTES)
    return Carried(exif=_directories(open_block(exif)), xmp=items.xmp_item(stream, MAX_BLOCK_BYTES))


def _raw(stream: BinaryIO) -> Carried:
    """Return the blocks of a raw: one that is TIFF inside, that holds a JPEG, or that is made of boxes."""
    if open_tiff(stream):
        return _tiff(stream)
    stream.seek(0)
    head = stream.read(RAF_PLACES + 4)
    if head.startswith(RAF_START) and len(head) == RAF_PLACES + 4:
        return _jpeg(stream, int.from_bytes(head[RAF_PLACES:], "big"))
    return _boxes(stream) if head[4:8] == b"ftyp" else Carried()


def _boxes(stream: BinaryIO) -> Carried:
    length = boxes.file_length(stream)
    xmp = b""
    found: dict[bytes, Source] = {}
    for box in list(boxes.boxes(stream, 0, length)):
        if box.kind == b"uuid" and boxes.payload(stream, box, 16) == CR3_XMP and not xmp:
            xmp = boxes.payload(stream, box, MAX_BLOCK_BYTES)[16:]
        if box.kind == b"moov":
            for part in _parts_of_moov(stream, box, length):
                tiff = open_tiff(io.BytesIO(boxes.payload(stream, part)))
                if tiff and (directory := tiff.directory(tiff.first)):
                    found.setdefault(part.kind, (tiff, directory))
    return Carried(exif=tuple(found[kind] for kind in CR3_DIRECTORIES if kind in found), xmp=xmp)


def _parts_of_moov(stream: BinaryIO, moov: boxes.MediaBox, length: int) -> Iterator[boxes.MediaBox]:
    for box in list(boxes.boxes(stream, moov.start, min(moov.end, length))):
        if box.kind == b"uuid" and boxes.payload(stream, box, 16) == CR3_UUID:
            inside = boxes.boxes(stream, box.start + 16, min(box.end, length))
            yield from [part for part in inside if part.kind in CR3_DIRECTORIES]
