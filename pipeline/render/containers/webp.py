"""WebP: metadata in RIFF chunks.

Source: WebP Container Specification ("Extended File Format"): VP8X first, ICCP before the picture data, EXIF
and XMP behind it, a zero behind each chunk of odd size. The format has no place for the resolution but Exif.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.render.containers.cursor import Cursor

_ICC_FLAG, _ALPHA_FLAG, _EXIF_FLAG, _XMP_FLAG = 0x20, 0x10, 0x08, 0x04
_KEPT = frozenset({b"VP8X", b"ICCP", b"ALPH", b"VP8 ", b"VP8L"})
_SIZE_LIMIT = (1 << 32) - 2


@dataclass(frozen=True, slots=True)
class _Parts:
    """What is kept of a WebP file; `alpha_data` is the ALPH chunk's body or None."""

    width: int
    height: int
    alpha: bool
    icc: bytes | None
    alpha_data: bytes | None
    kind: bytes
    coded: bytes


def rewrite(encoded: bytes, exif: bytes, xmp: bytes) -> bytes:
    """Return the file in the extended form with this metadata and no other.

    Unknown chunks and whatever follows the RIFF chunk are dropped. ValueError for data that is not a whole
    WebP still picture.
    """
    parts = _parts(encoded)
    flags = _EXIF_FLAG | _XMP_FLAG
    flags |= _ALPHA_FLAG if parts.alpha else 0
    flags |= _ICC_FLAG if parts.icc is not None else 0
    canvas = (parts.width - 1).to_bytes(3, "little") + (parts.height - 1).to_bytes(3, "little")
    body = b"".join(
        (
            b"WEBP",
            _chunk(b"VP8X", bytes((flags, 0, 0, 0)) + canvas),
            b"" if parts.icc is None else _chunk(b"ICCP", parts.icc),
            b"" if parts.alpha_data is None else _chunk(b"ALPH", parts.alpha_data),
            _chunk(parts.kind, parts.coded),
            _chunk(b"EXIF", exif),
            _chunk(b"XMP ", xmp),
        )
    )
    if len(body) > _SIZE_LIMIT:
        raise ValueError(f"the WebP file would have {len(body)} bytes, more than the format can count")
    return _chunk(b"RIFF", body)


def picture_data(encoded: bytes) -> bytes:
    """Return the alpha and the picture bit streams."""
    parts = _parts(encoded)
    return (parts.alpha_data or b"") + parts.coded


def _parts(encoded: bytes) -> _Parts:
    """Take the file apart; size, and alpha of a lossless picture, are what its bit stream says, as decoders have it."""
    chunks = _chunks(encoded)
    coded_as = [kind for kind in (b"VP8 ", b"VP8L") if kind in chunks]
    if len(coded_as) != 1:
        raise ValueError("the WebP file must hold exactly one still picture")
    kind = coded_as[0]
    coded = chunks[kind]
    icc = chunks.get(b"ICCP")
    if kind == b"VP8L":
        width, height, alpha = _lossless_header(coded)
        return _Parts(width, height, alpha, icc, None, kind, coded)
    width, height = _lossy_header(coded)
    alpha_data = chunks.get(b"ALPH")
    flags = Cursor(chunks[b"VP8X"], "the VP8X chunk of the WebP file").number(1) if b"VP8X" in chunks else 0
    return _Parts(width, height, alpha_data is not None or bool(flags & _ALPHA_FLAG), icc, alpha_data, kind, coded)


def _chunks(encoded: bytes) -> dict[bytes, bytes]:
    """Return the bodies of the chunks that are kept."""
    outer = Cursor(encoded, "the WebP file", "little")
    if outer.take(4) != b"RIFF":
        raise ValueError("the WebP file does not begin with RIFF")
    cursor = Cursor(outer.take(outer.number(4)), "the WebP file", "little")
    if cursor.take(4) != b"WEBP":
        raise ValueError("the RIFF file is not a WebP file")
    chunks: dict[bytes, bytes] = {}
    while cursor.left:
        kind = cursor.take(4)
        body = cursor.take(cursor.number(4))
        cursor.take(min(len(body) % 2, cursor.left))
        if kind in {b"ANIM", b"ANMF"}:
            raise ValueError("the WebP file is an animation, not one still picture")
        if kind in _KEPT:
            if kind in chunks:
                raise ValueError(f"the WebP file holds the chunk {kind.decode('ascii').strip()} twice")
            chunks[kind] = body
    return chunks


def _lossy_header(coded: bytes) -> tuple[int, int]:
    """Return width and height. Source: RFC 6386, 9.1: frame tag, start code, two 14-bit sizes."""
    cursor = Cursor(coded, "the VP8 picture of the WebP file", "little", at=3)
    if cursor.take(3) != b"\x9d\x01\x2a":
        raise ValueError("the VP8 picture of the WebP file has no start code")
    width, height = cursor.number(2) & 0x3FFF, cursor.number(2) & 0x3FFF
    if not (width and height):
        raise ValueError("the WebP file holds a picture without pixels")
    return width, height


def _lossless_header(coded: bytes) -> tuple[int, int, bool]:
    """Return width, height and the alpha hint. Source: WebP Lossless Bitstream Specification, section 3."""
    cursor = Cursor(coded, "the VP8L picture of the WebP file", "little")
    if cursor.number(1) != 0x2F:
        raise ValueError("the VP8L picture of the WebP file has no signature")
    bits = cursor.number(4)
    return (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1, bool(bits >> 28 & 1)


def _chunk(kind: bytes, body: bytes) -> bytes:
    return kind + len(body).to_bytes(4, "little") + body + bytes(len(body) % 2)
