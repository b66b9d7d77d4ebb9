"""JPEG, taken apart by its markers.

Sources: ITU-T T.81 Annex B (markers, scans), ITU-T T.871 (JFIF), CIPA DC-008 4.7 (Exif in APP1), XMP Specification
Part 3 (2020) 1.1.3 (XMP, extended XMP, image resources), ICC.1:2022 Annex B (profile in APP2).
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass, field
from fractions import Fraction

from pipeline.deliver.verify.bounded import Reader, shown
from pipeline.deliver.verify.read_back import Parts, PicturePart
from pipeline.light.box import Size

_JFIF, _EXIF, _ICC, _ADOBE = b"JFIF\0", b"Exif\0\0", b"ICC_PROFILE\0", b"Adobe"
_XMP, _XMP_MORE = b"http://ns.adobe.com/xap/1.0/\0", b"http://ns.adobe.com/xmp/extension/\0"
_RESOURCES = b"Photoshop 3.0\0"
_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_TABLES = frozenset({0xC4, 0xCC, 0xDB, 0xDC, 0xDD})
_SOS, _EOI, _COMMENT = 0xDA, 0xD9, 0xFE
_MARKER = re.compile(rb"\xff[\x01-\xcf\xd8-\xfe]")
_SEGMENT_LIMIT = 100_000
_CM_PER_INCH = Fraction(254, 100)


@dataclass(slots=True)
class _Found:
    size: Size | None = None
    components: int = 0
    picture: list[PicturePart] = field(default_factory=list)
    icc: dict[int, bytes] = field(default_factory=dict)
    icc_count: int = 0
    exif: bytes | None = None
    xmp: bytes | None = None
    more: dict[bytes, list[tuple[int, int, bytes]]] = field(default_factory=dict)
    resources: list[bytes] = field(default_factory=list)
    ppi: Fraction | None = None
    others: list[str] = field(default_factory=list)


def parts(data: bytes) -> Parts:
    """Take the file apart. The picture is its tables, frame header, scans and colour transform."""
    reader = Reader(data, "the JPEG file", at=2)
    found = _Found()
    for _ in range(_SEGMENT_LIMIT):
        marker = _next_marker(reader)
        if marker == _EOI:
            break
        body = reader.take(reader.number(2) - 2)
        _segment(marker, body, found)
        if marker == _SOS:
            end = _MARKER.search(data, reader.at)
            if end is None:
                raise ValueError("the JPEG file is cut short: its last scan has no end")
            found.picture.append(PicturePart("scan", reader.take(end.start() - reader.at)))
    else:
        raise ValueError("the JPEG file has more segments than any picture")
    if found.size is None:
        raise ValueError("the JPEG file has no frame header")
    if reader.left:
        found.others.append(f"{reader.left} bytes behind its end")
    return Parts(
        "jpeg",
        found.size,
        tuple(found.picture),
        _profile(found),
        found.exif,
        _packets(found),
        b"".join(found.resources) if found.resources else None,
        None,
        found.ppi,
        tuple(found.others),
        found.components,
    )


def _next_marker(reader: Reader) -> int:
    if reader.number(1) != 0xFF:
        raise ValueError(f"the JPEG file has no marker at byte {reader.at - 1}")
    marker = 0xFF
    while marker == 0xFF:
        marker = reader.number(1)
    return marker


def _segment(marker: int, body: bytes, found: _Found) -> None:
    """Sort one segment into what was found."""
    if marker in _FRAMES:
        if found.size is not None:
            raise ValueError("the JPEG file holds more than one frame")
        head = Reader(body, "the frame header of the JPEG file", at=1)
        height, width = head.number(2), head.number(2)
        if not (width and height):
            raise ValueError("the JPEG file holds a picture without pixels")
        found.size, found.components = Size(width, height), head.number(1)
        found.picture.append(PicturePart(f"{marker:02X}", body))
    elif marker in _TABLES or marker == _SOS:
        found.picture.append(PicturePart(f"{marker:02X}", body))
    elif marker == 0xE0 and body.startswith(_JFIF) and found.ppi is None:
        _jfif(body, found)
    elif marker == 0xE1 and body.startswith(_EXIF) and found.exif is None:
        found.exif = body[len(_EXIF) :]
    elif marker == 0xE1 and body.startswith(_XMP) and found.xmp is None:
        found.xmp = body[len(_XMP) :]
    elif marker == 0xE1 and body.startswith(_XMP_MORE):
        chunk = Reader(body, "the extended XMP", at=len(_XMP_MORE))
        guid, length, offset = chunk.take(32), chunk.number(4), chunk.number(4)
        found.more.setdefault(guid, []).append((offset, length, chunk.take(chunk.left)))
    elif marker == 0xE2 and body.startswith(_ICC) and len(body) > 14:
        found.icc[body[12]], found.icc_count = body[14:], body[13]
    elif marker == 0xED and body.startswith(_RESOURCES):
        found.resources.append(body[len(_RESOURCES) :])
    elif marker == 0xEE and body.startswith(_ADOBE) and len(body) >= 12:
        found.picture.append(PicturePart("colour transform", body[11:12]))
    elif marker == _COMMENT:
        found.others.append("a comment (JPEG)")
    else:
        name = f"APP{marker - 0xE0}" if 0xE0 <= marker <= 0xEF else f"FF{marker:02X}"
        found.others.append(f"a segment {name} {shown(body[:12].split(bytes(1))[0])!r} (JPEG)")


def _jfif(body: bytes, found: _Found) -> None:
    head = Reader(body, "the JFIF header", at=len(_JFIF) + 2)
    unit, density, _ = head.number(1), head.number(2), head.number(2)
    if unit:
        found.ppi = Fraction(density) * (_CM_PER_INCH if unit == 2 else 1)
    if head.left >= 2 and head.number(1) and head.number(1):
        found.others.append("a thumbnail (JFIF)")


def _profile(found: _Found) -> bytes | None:
    if not found.icc:
        return None
    if sorted(found.icc) != list(range(1, found.icc_count + 1)):
        found.others.append("a colour profile with parts missing")
    return b"".join(body for _, body in sorted(found.icc.items()))


def _packets(found: _Found) -> tuple[bytes, ...]:
    """Return the main packet and the extended one whose name stands in it; others are named, not read."""
    if found.xmp is None:
        found.others += ["extended XMP without a main packet"] if found.more else []
        return ()
    packets = [found.xmp]
    for guid, chunks in found.more.items():
        whole = b"".join(body for _, _, body in sorted(chunks))
        sound = hashlib.md5(whole, usedforsecurity=False).hexdigest().upper().encode() == guid
        if guid in found.xmp and sound and len(packets) == 1:
            packets.append(whole)
        else:
            found.others.append("extended XMP that does not belong to the packet" if sound else "broken extended XMP")
    return tuple(packets)
