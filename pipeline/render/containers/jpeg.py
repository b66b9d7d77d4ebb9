"""JPEG: metadata in marker segments.

Sources: ITU-T T.81 Annex B (markers), ITU-T T.871 (JFIF), CIPA DC-008 (Exif in APP1), XMP Specification
Part 3 (2020) 1.1.3 (XMP in APP1, long XMP in several, the order of the segments) and 3.3.2 (IIM in image resources
in APP13), ICC.1 Annex B (APP2).
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.render.containers.cursor import Cursor
from pipeline.render.containers.ifd import UNDEFINED, Entry, ExifBlock, read_exif, shorts, write_exif
from pipeline.render.containers.image_resources import digest_resource, iim_resource
from pipeline.render.containers.long_xmp import chunks, divided

_SEGMENT_LIMIT = 65535 - 2
_JFIF, _EXIF, _XMP = b"JFIF\0", b"Exif\0\0", b"http://ns.adobe.com/xap/1.0/\0"
_LONG_XMP, _RESOURCES = b"http://ns.adobe.com/xmp/extension/\0", b"Photoshop 3.0\0"
_ICC, _ADOBE = b"ICC_PROFILE\0", b"Adobe"
_APP0, _APP1, _APP2, _APP13, _APP14, _APP15 = 0xE0, 0xE1, 0xE2, 0xED, 0xEE, 0xEF
_EOI, _SOS, _COMMENT = 0xD9, 0xDA, 0xFE
_FRAME_HEADERS = frozenset({0xC0, 0xC1, 0xC2, 0xC3, 0xC5, 0xC6, 0xC7, 0xC9, 0xCA, 0xCB, 0xCD, 0xCE, 0xCF})
_TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDC, 0xDD})  # DHT DAC DQT DNL DRI
_ADOBE_BYTES = 12
_JFIF_COMPONENTS = (1, 3)
# A scan ends before the first marker that is neither a stuffed zero nor a restart (T.81 B.1.1.2, B.1.1.5).
_SCAN_END = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
# What Exif wants to be said of compressed data (DC-008 4.6.4 and 4.6.5): the order of the components, a fixed version,
# chroma between the luma samples as JFIF has it.
_COMPONENTS, _FLASHPIX, _CHROMA_PLACE, _CENTRED = 0x9101, 0xA000, 0x0213, 1
# The words in an Exif block, which have no bound: ImageDescription, Artist, Copyright.
_WORDS = frozenset({270, 315, 33432})


@dataclass(frozen=True, slots=True)
class _Parts:
    """What is kept of a JPEG file: the ICC segments, the Adobe segment, and all that decides pixels."""

    components: int
    icc: bytes
    adobe: bytes
    coded: bytes


def rewrite(encoded: bytes, exif: bytes, xmp: bytes, iim: bytes, ppi: float) -> bytes:
    """Return the file with this metadata and no other: SOI, JFIF, Exif, XMP, long XMP, IIM, ICC, Adobe, the rest.

    Comments, thumbnails, every other application segment and whatever follows EOI are dropped. Exif must
    fit one segment: where its words are too long, the longest are left out of Exif whole (a reader takes Exif
    before XMP, so a part of them would hide the rest). ValueError for data that is not a whole JPEG file, and
    for one that stores RGB (a JFIF header would change its colours).
    """
    parts = _parts(encoded)
    main, extended = divided(xmp)
    density = round(ppi).to_bytes(2, "big")
    # JFIF speaks of grey and YCbCr alone (T.871 6.1): CMYK goes by the Adobe segment, its resolution by Exif.
    jfif = _segment(_APP0, _JFIF + b"\x01\x01" + b"\x01" + density + density + b"\0\0")
    return b"".join(
        (
            b"\xff\xd8",
            jfif if parts.components in _JFIF_COMPONENTS else b"",
            _segment(_APP1, _EXIF + _fitting(_with_components(exif, parts.components))),
            _segment(_APP1, _XMP + main),
            *(_segment(_APP1, _LONG_XMP + chunk) for chunk in chunks(extended)),
            _resource_segments(iim),
            parts.icc,
            parts.adobe,
            parts.coded,
            b"\xff\xd9",
        )
    )


def picture_data(encoded: bytes) -> bytes:
    """Return the tables, frame header and scans, with the Adobe segment that names the colour transform."""
    parts = _parts(encoded)
    return parts.adobe + parts.coded


def profile_segments(icc_profile: bytes) -> bytes:
    """Return the segments of an ICC profile, in as many parts as it needs (ICC.1 Annex B)."""
    room = _SEGMENT_LIMIT - len(_ICC) - 2
    parts = [icc_profile[start : start + room] for start in range(0, len(icc_profile), room)]
    bodies = (_ICC + bytes((number, len(parts))) + part for number, part in enumerate(parts, start=1))
    return b"".join(_segment(_APP2, body) for body in bodies)


def _parts(encoded: bytes) -> _Parts:
    """Take the file apart, up to EOI."""
    cursor = Cursor(encoded, "the JPEG file")
    if cursor.take(2) != b"\xff\xd8":
        raise ValueError("the JPEG file does not begin with its start marker")
    icc: list[bytes] = []
    coded: list[bytes] = []
    adobe, frame, has_jfif, scans = b"", b"", False, 0
    while (marker := _next_marker(cursor)) != _EOI:
        body = cursor.take(cursor.number(2) - 2)
        if marker == _APP0:
            has_jfif = has_jfif or body.startswith(_JFIF)
        elif marker == _APP2 and body.startswith(_ICC):
            icc.append(body)
        elif marker == _APP14 and body.startswith(_ADOBE) and len(body) >= _ADOBE_BYTES:
            adobe = body[:_ADOBE_BYTES]
        elif marker in _FRAME_HEADERS:
            if frame:
                raise ValueError("the JPEG file holds more than one frame")
            frame = body
            coded.append(_segment(marker, body))
        elif marker in _TABLES:
            coded.append(_segment(marker, body))
        elif marker == _SOS:
            if not frame:
                raise ValueError("the JPEG file has a scan before its frame header")
            scans += 1
            coded.append(_segment(marker, body) + _scan(cursor))
        elif not (_APP0 <= marker <= _APP15 or marker == _COMMENT):
            raise ValueError(f"the JPEG file holds the marker FF{marker:02X}, which cannot be copied safely")
    if not scans:
        raise ValueError("the JPEG file has no scan")
    if not has_jfif and _stores_rgb(frame, adobe):
        raise ValueError("the JPEG file stores RGB instead of YCbCr; a JFIF header would change its colours")
    return _Parts(_components(frame), _icc_segments(icc), _segment(_APP14, adobe) if adobe else b"", b"".join(coded))


def _next_marker(cursor: Cursor) -> int:
    """Return the next marker, past any fill bytes."""
    if cursor.number(1) != 0xFF:
        raise ValueError(f"the JPEG file has no marker at byte {cursor.at - 1}, where one must be")
    while (marker := cursor.number(1)) == 0xFF:
        pass
    return marker


def _scan(cursor: Cursor) -> bytes:
    """Return the entropy-coded data of one scan, with its restart markers."""
    end = _SCAN_END.search(cursor.data, cursor.at)
    if end is None:
        raise ValueError("the JPEG file is cut short: its last scan has no end")
    return cursor.take(end.start() - cursor.at).rstrip(b"\xff")


def _icc_segments(bodies: list[bytes]) -> bytes:
    """Return the ICC segments in the order of their numbers; ValueError where one is missing."""
    numbers = sorted((body[12:14], body) for body in bodies)
    wanted = [bytes((number, len(bodies))) for number in range(1, min(len(bodies), 255) + 1)]
    if [number for number, _ in numbers] != wanted:
        raise ValueError("the JPEG file holds an ICC profile with parts missing or twice")
    return b"".join(_segment(_APP2, body) for _, body in numbers)


def _components(frame: bytes) -> int:
    """Return the number of components of a frame header (T.81 B.2.2)."""
    return Cursor(frame, "the frame header of the JPEG file", at=5).number(1)


def _with_components(exif: bytes, components: int) -> bytes:
    """Return the block with what describes this file's compressed data: YCbCr, grey, or nothing for four components."""
    order = {1: b"\x01\0\0\0", 3: b"\x01\x02\x03\0"}.get(components)
    block = read_exif(exif)
    if order is None:
        return write_exif(block)
    first = block.first | {_CHROMA_PLACE: shorts(_CHROMA_PLACE, (_CENTRED,))}
    second = block.second | {
        _COMPONENTS: Entry(_COMPONENTS, UNDEFINED, order),
        _FLASHPIX: Entry(_FLASHPIX, UNDEFINED, b"0100"),
    }
    return write_exif(ExifBlock(block.order, first, second))


def _fitting(block: bytes) -> bytes:
    """Return the block without as many of its longest words as one segment has no room for."""
    limit = _SEGMENT_LIMIT - len(_EXIF)
    if len(block) <= limit:
        return block
    parts = read_exif(block)
    first = dict(parts.first)
    while len(block) > limit and (words := sorted(_WORDS & first.keys())):
        del first[max(words, key=lambda tag: len(first[tag].value))]
        block = write_exif(ExifBlock(parts.order, first, parts.second))
    if len(block) > limit:
        raise ValueError(f"the Exif block has {len(block)} bytes; one JPEG segment holds at most {limit}")
    return block


def _resource_segments(iim: bytes) -> bytes:
    """Return IIM and its digest as image resources, over as many segments as they need; nothing for no IIM."""
    resources = iim_resource(iim) + digest_resource(iim) if iim else b""
    room = _SEGMENT_LIMIT - len(_RESOURCES)
    starts = range(0, len(resources), room)
    return b"".join(_segment(_APP13, _RESOURCES + resources[start : start + room]) for start in starts)


def _stores_rgb(frame: bytes, adobe: bytes) -> bool:
    """Say whether a reader takes three components for RGB, as far as no JFIF header says otherwise."""
    if _components(frame) != 3:
        return False
    if adobe:
        return adobe[11] == 0
    return frame[6::3][:3] == b"RGB"


def _segment(marker: int, body: bytes) -> bytes:
    return bytes((0xFF, marker)) + (len(body) + 2).to_bytes(2, "big") + body
