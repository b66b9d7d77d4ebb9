"""WebP, taken apart by its chunks.

Sources: WebP Container Specification (RFC 9649 clause 2), RFC 6386 9.1 (VP8 frame header), WebP Lossless Bitstream
Specification clause 3 (VP8L header).
"""

from __future__ import annotations

from pipeline.deliver.verify.bounded import Reader, shown
from pipeline.deliver.verify.read_back import Parts, PicturePart
from pipeline.light.box import Size

_PICTURE = (b"ALPH", b"VP8 ", b"VP8L")
_FACTS = frozenset({b"VP8X", b"ICCP", b"EXIF", b"XMP "})
_CHUNK_LIMIT = 10_000


def parts(data: bytes) -> Parts:
    """Take the file apart. The picture is its bit stream and its alpha."""
    head = Reader(data, "the WebP file", "little", at=4)
    size = head.number(4)
    reader = Reader(data[: size + 8], "the WebP file", "little", at=12)
    chunks: dict[bytes, bytes] = {}
    others: list[str] = []
    for _ in range(_CHUNK_LIMIT):
        if not reader.left:
            break
        kind = reader.take(4)
        length = reader.number(4)
        body = reader.take(length)
        reader.take(min(length % 2, reader.left))
        if kind in chunks or (kind not in _PICTURE and kind not in _FACTS):
            others.append(f"a chunk {shown(kind)!r} (WebP)")
        else:
            chunks[kind] = body
    else:
        raise ValueError("the WebP file has more chunks than any picture")
    if size + 8 > len(data):
        raise ValueError("the WebP file is cut short")
    if len(data) > size + 8 + size % 2:
        others.append(f"{len(data) - size - 8} bytes behind its end")
    exif = chunks.get(b"EXIF")
    packet = chunks.get(b"XMP ")
    return Parts(
        "webp",
        _size(chunks),
        tuple(PicturePart(shown(kind), chunks[kind]) for kind in _PICTURE if kind in chunks),
        chunks.get(b"ICCP"),
        exif.removeprefix(b"Exif\0\0") if exif is not None else None,
        (packet,) if packet is not None else (),
        others=tuple(others),
    )


def _size(chunks: dict[bytes, bytes]) -> Size:
    if b"VP8 " in chunks:
        reader = Reader(chunks[b"VP8 "], "the VP8 picture of the WebP file", "little", at=6)
        return Size(reader.number(2) & 0x3FFF, reader.number(2) & 0x3FFF)
    if b"VP8L" in chunks:
        bits = Reader(chunks[b"VP8L"], "the VP8L picture of the WebP file", "little", at=1).number(4)
        return Size((bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1)
    raise ValueError("the WebP file has no still picture")
