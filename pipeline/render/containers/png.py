"""PNG: metadata in chunks.

Sources: PNG 3rd edition, sections 5 (chunks, order, CRC), 11.3.2.3 (iCCP), 11.3.4.3 (pHYs) and 11.3.5.1 (eXIf: the
block without "Exif"); XMP Specification Part 3 (2020) Table 9 (iTXt "XML:com.adobe.xmp", not compressed).
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from pipeline.render.containers.cursor import Cursor

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_XMP_HEAD = b"XML:com.adobe.xmp\0" + b"\0" + b"\0" + b"\0" + b"\0"
_COLOUR = frozenset({b"cICP", b"iCCP", b"sRGB", b"cHRM", b"gAMA", b"sBIT", b"mDCV", b"cLLI"})
_PICTURE = frozenset({b"IHDR", b"PLTE", b"tRNS", b"IDAT"})
_INCH_M = 0.0254


@dataclass(frozen=True, slots=True)
class _Chunk:
    kind: bytes
    body: bytes


def rewrite(encoded: bytes, exif: bytes, xmp: bytes, ppi: float) -> bytes:
    """Return the file with this metadata and no other: IHDR, colour, pHYs, eXIf, iTXt, PLTE, tRNS, IDAT, IEND.

    Text, time, background and unknown chunks, and whatever follows IEND, are dropped. ValueError for data
    that is not a whole PNG file.
    """
    chunks = _chunks(encoded)
    colour = tuple(chunk for chunk in chunks if chunk.kind in _COLOUR)
    picture = tuple(chunk for chunk in chunks if chunk.kind in _PICTURE)
    per_metre = round(ppi / _INCH_M).to_bytes(4, "big")
    written = (
        picture[0],
        *colour,
        _Chunk(b"pHYs", per_metre + per_metre + b"\x01"),
        _Chunk(b"eXIf", exif),
        _Chunk(b"iTXt", _XMP_HEAD + xmp),
        *picture[1:],
        _Chunk(b"IEND", b""),
    )
    return _SIGNATURE + b"".join(_coded(chunk) for chunk in written)


def picture_data(encoded: bytes) -> bytes:
    """Return the bodies of IHDR, PLTE, tRNS and IDAT, in the order of the file."""
    return b"".join(chunk.body for chunk in _chunks(encoded) if chunk.kind in _PICTURE)


def _chunks(encoded: bytes) -> tuple[_Chunk, ...]:
    """Take the file apart, up to IEND; IHDR is first, IDAT is there, and no chunk but IDAT that is kept comes twice."""
    cursor = Cursor(encoded, "the PNG file")
    if cursor.take(8) != _SIGNATURE:
        raise ValueError("the PNG file does not begin with its signature")
    chunks: list[_Chunk] = []
    while not chunks or chunks[-1].kind != b"IEND":
        length = cursor.number(4)
        kind, body = cursor.take(4), cursor.take(length)
        if cursor.number(4) != zlib.crc32(body, zlib.crc32(kind)):
            raise ValueError(f"the PNG file has a wrong checksum in its chunk {kind.decode('latin-1')}")
        if kind not in _PICTURE | {b"IEND"} and not kind[0] & 0x20:
            raise ValueError(f"the PNG file holds the unknown critical chunk {kind.decode('latin-1')}")
        chunks.append(_Chunk(kind, body))
    kept = [chunk.kind for chunk in chunks if chunk.kind in _PICTURE | _COLOUR]
    if chunks[0].kind != b"IHDR" or b"IDAT" not in kept:
        raise ValueError("the PNG file has no picture between its header and its end")
    if any(kept.count(kind) > 1 for kind in set(kept) - {b"IDAT"}):
        raise ValueError("the PNG file holds a chunk twice that may be there once")
    if b"IDAT" in kept[: -kept.count(b"IDAT")]:
        raise ValueError("the PNG file has other chunks of the picture between or behind its picture data")
    return tuple(chunks)


def _coded(chunk: _Chunk) -> bytes:
    checksum = zlib.crc32(chunk.body, zlib.crc32(chunk.kind))
    return len(chunk.body).to_bytes(4, "big") + chunk.kind + chunk.body + checksum.to_bytes(4, "big")
