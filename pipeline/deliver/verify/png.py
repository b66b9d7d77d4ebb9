"""PNG, taken apart by its chunks.

Sources: PNG 3rd edition, clauses 5.3 (chunks, CRC), 11.2 and 11.3 (IHDR, PLTE, tRNS, IDAT, iCCP, pHYs, eXIf, iTXt);
XMP Specification Part 3 (2020) Table 9.
"""

from __future__ import annotations

import zlib
from fractions import Fraction

from pipeline.deliver.verify.bounded import Reader, shown
from pipeline.deliver.verify.read_back import Parts, PicturePart
from pipeline.light.box import Size

_XMP = b"XML:com.adobe.xmp\0"
_PICTURE = frozenset({b"IHDR", b"PLTE", b"tRNS", b"IDAT"})
_TEXT = frozenset({b"tEXt", b"zTXt", b"iTXt"})
_GREY = (0, 4)  # colour types (11.2.1): grey, grey with alpha
_CHUNK_LIMIT = 200_000
_INFLATED_LIMIT = 16 << 20
_M_PER_INCH = Fraction(254, 10_000)


def parts(data: bytes) -> Parts:
    """Take the file apart. The picture is IHDR, PLTE, tRNS and the data of all IDAT chunks as one."""
    reader = Reader(data, "the PNG file", at=8)
    bodies: dict[bytes, list[bytes]] = {}
    others: list[str] = []
    for _ in range(_CHUNK_LIMIT):
        size = reader.number(4)
        kind, body = reader.take(4), reader.take(size)
        if reader.number(4) != zlib.crc32(kind + body):
            raise ValueError(f"the PNG file has a chunk {shown(kind)!r} whose checksum is wrong")
        if kind == b"IEND":
            break
        bodies.setdefault(kind, []).append(body)
    else:
        raise ValueError("the PNG file has more chunks than any picture")
    if reader.left:
        others.append(f"{reader.left} bytes behind its end")
    if b"IHDR" not in bodies or b"IDAT" not in bodies:
        raise ValueError("the PNG file has no picture")
    head = Reader(bodies[b"IHDR"][0], "the header of the PNG file")
    size_px = Size(head.number(4), head.number(4))
    _, colour_type = head.number(1), head.number(1)
    picture = tuple(PicturePart(kind.decode(), b"".join(bodies[kind])) for kind in sorted(_PICTURE) if kind in bodies)
    packets = [_packet(body) for body in bodies.get(b"iTXt", []) if body.startswith(_XMP)]
    for kind, found in bodies.items():
        others += _others(kind, found)
    return Parts(
        "png",
        size_px,
        picture,
        _profile(bodies[b"iCCP"][0]) if b"iCCP" in bodies else None,
        bodies[b"eXIf"][0] if b"eXIf" in bodies else None,
        tuple(packets[:1]),
        None,
        None,
        _ppi(bodies.get(b"pHYs", [])),
        tuple(others),
        1 if colour_type in _GREY else 3,
    )


def _others(kind: bytes, bodies: list[bytes]) -> list[str]:
    """Return in words what has no place in a delivered file, or only once."""
    if kind in _PICTURE:
        return []
    if kind in _TEXT:
        texts = [body for body in bodies if kind != b"iTXt" or not body.startswith(_XMP)]
        named = [f"a text {shown(body.split(bytes(1))[0][:79])!r} (PNG)" for body in texts]
        return named + ["a second XMP packet (PNG)"] * (len(bodies) - len(texts) > 1)
    if kind in {b"iCCP", b"eXIf", b"pHYs"} and len(bodies) == 1:
        return []
    return [f"a chunk {shown(kind)!r} (PNG)"]


def _inflated(data: bytes) -> bytes:
    inflater = zlib.decompressobj()
    try:
        return inflater.decompress(data, _INFLATED_LIMIT)
    except zlib.error:
        raise ValueError("the PNG file has a compressed chunk that is broken") from None


def _profile(body: bytes) -> bytes:
    _, _, rest = body.partition(b"\0")
    return _inflated(rest[1:])


def _packet(body: bytes) -> bytes:
    rest = body[len(_XMP) :]
    compressed = rest[:1] == b"\1"
    _, _, rest = rest[2:].partition(b"\0")
    _, _, text = rest.partition(b"\0")
    return _inflated(text) if compressed else text


def _ppi(bodies: list[bytes]) -> Fraction | None:
    if not bodies or len(bodies[0]) != 9 or bodies[0][8] != 1:
        return None
    return int.from_bytes(bodies[0][:4], "big") * _M_PER_INCH
