"""AVIF, taken apart by its boxes and items.

Sources: ISO/IEC 14496-12 8.11 (meta, pitm, iinf, iloc, iref, idat), ISO/IEC 23008-12 9.3 and Annex A (properties; Exif
and XMP items), AV1 Image File Format 1.1.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from pipeline.deliver.verify.bounded import Reader, shown
from pipeline.deliver.verify.read_back import Parts, PicturePart
from pipeline.light.box import Size

if TYPE_CHECKING:
    from collections.abc import Iterator

_XMP_TYPE = b"application/rdf+xml"
_OUTER = frozenset({b"ftyp", b"meta", b"mdat"})
_INNER = frozenset({b"hdlr", b"pitm", b"iloc", b"iinf", b"iref", b"iprp", b"idat"})
_BOX_LIMIT, _ITEM_LIMIT, _EXTENT_LIMIT, _REFERENCE_LIMIT = 4096, 1024, 4096, 4096
_ICC_COLOURS = (b"prof", b"rICC")


@dataclass(slots=True)
class _Items:
    """What the meta box says: kinds and content types, places, references, properties of each item."""

    kinds: dict[int, tuple[bytes, bytes]] = field(default_factory=dict)
    places: dict[int, tuple[int, list[tuple[int, int]]]] = field(default_factory=dict)
    references: list[tuple[bytes, int, tuple[int, ...]]] = field(default_factory=list)
    properties: list[tuple[bytes, bytes]] = field(default_factory=list)
    owned: dict[int, list[int]] = field(default_factory=dict)
    idat: bytes = b""
    primary: int = 0


def parts(data: bytes) -> Parts:
    """Take the file apart. The picture is the data and properties of every item that the primary one is made of."""
    outer = list(_boxes(data, "the AVIF file"))
    metas = [body for kind, body in outer if kind == b"meta"]
    if len(metas) != 1:
        raise ValueError(f"the AVIF file has {len(metas)} meta boxes; a still picture has one")
    others = [f"a box {shown(kind)!r} (AVIF)" for kind, _ in outer if kind not in _OUTER]
    items = _items(metas[0], others)
    if items.primary not in items.kinds:
        raise ValueError("the AVIF file names no picture")
    made_of = _made_of(items)
    facts = {number for number in items.kinds if number not in made_of and _is_fact(items.kinds[number])}
    others += [
        f"an item {shown(kind)!r} (AVIF)"
        for number, (kind, _) in sorted(items.kinds.items())
        if number not in made_of | facts
    ]
    # Some writers that take metadata away leave the item there, without a byte.
    written = [number for number in sorted(facts) if any(length for _, length in items.places.get(number, (-1, []))[1])]
    exifs = [_data(items, number, data) for number in written if items.kinds[number][0] == b"Exif"]
    packets = [_data(items, number, data) for number in written if items.kinds[number][0] == b"mime"]
    others += ["a second Exif block (AVIF)"] * (len(exifs) > 1) + ["a second XMP packet (AVIF)"] * (len(packets) > 1)
    size, profile = _described(items)
    return Parts(
        "avif",
        size,
        tuple(_picture(items, made_of, data)),
        profile,
        _block(exifs[0]) if exifs else None,
        tuple(packets[:1]),
        others=tuple(others),
    )


def _picture(items: _Items, made_of: set[int], data: bytes) -> Iterator[PicturePart]:
    budget = 2 * len(data)
    for number in sorted(made_of):
        for part in (_data(items, number, data), *_deciding(items, number)):
            budget -= len(part)
            if budget < 0:
                raise ValueError("the AVIF file has items that use the same bytes")
            yield PicturePart(str(number), part)


def _boxes(data: bytes, what: str) -> Iterator[tuple[bytes, bytes]]:
    reader = Reader(data, what)
    for _ in range(_BOX_LIMIT):
        if not reader.left:
            return
        size, kind = reader.number(4), reader.take(4)
        head = 8
        if size == 1:
            size, head = reader.number(8), 16
        body = reader.take(reader.left if size == 0 else size - head)
        yield kind, body
    raise ValueError(f"{what} has more boxes than any picture")


def _items(meta: bytes, others: list[str]) -> _Items:
    items = _Items()
    for kind, body in _boxes(meta[4:], "the meta box of the AVIF file"):
        reader = Reader(body, f"the {shown(kind)} box of the AVIF file")
        match kind:
            case b"pitm":
                items.primary = _versioned(reader, 2, 4)
            case b"iinf":
                _read_infos(reader, items)
            case b"iloc":
                _read_places(reader, items)
            case b"iref":
                _read_references(reader, items)
            case b"iprp":
                _read_properties(body, items)
            case b"idat":
                items.idat += body
            case _ if kind not in _INNER:
                others.append(f"a box {shown(kind)!r} (AVIF)")
    return items


def _versioned(reader: Reader, narrow: int, wide: int) -> int:
    """Return the number behind the version of a full box; later versions have wider numbers."""
    version = reader.number(4) >> 24
    return reader.number(wide if version else narrow)


def _read_infos(reader: Reader, items: _Items) -> None:
    count = _versioned(reader, 2, 4)
    if count > _ITEM_LIMIT:
        raise ValueError(f"the AVIF file has {count} items")
    for kind, body in _boxes(reader.take(reader.left), "the iinf box of the AVIF file"):
        info = Reader(body, "the iinf box of the AVIF file")
        version = info.number(4) >> 24
        if kind == b"infe" and version >= 2:
            number = info.number(2 if version == 2 else 4)
            info.take(2)
            item_kind = info.take(4)
            _, _, rest = info.take(info.left).partition(b"\0")
            items.kinds[number] = (item_kind, rest.split(b"\0")[0])


def _read_places(reader: Reader, items: _Items) -> None:
    version = reader.number(4) >> 24
    widths = reader.number(2)
    offset_width, length_width, base_width, index_width = (widths >> shift & 15 for shift in (12, 8, 4, 0))
    budget = _EXTENT_LIMIT
    for _ in range(min(reader.number(4 if version == 2 else 2), _ITEM_LIMIT)):
        number = reader.number(4 if version == 2 else 2)
        method = reader.number(2) & 15 if version else 0
        outside = reader.number(2)
        base = reader.number(base_width)
        extents = []
        for _ in range(reader.number(2)):
            budget -= 1
            if budget < 0:
                raise ValueError("the AVIF file has its items in more pieces than any picture")
            reader.take(index_width if version else 0)
            offset = base + reader.number(offset_width)
            extents.append((offset, reader.number(length_width)))
        items.places[number] = (-1 if outside else method, extents)


def _read_references(reader: Reader, items: _Items) -> None:
    width = 4 if reader.number(4) >> 24 else 2
    budget = _REFERENCE_LIMIT
    for kind, body in _boxes(reader.take(reader.left), "the iref box of the AVIF file"):
        ends = Reader(body, "the iref box of the AVIF file")
        source = ends.number(width)
        targets = tuple(ends.number(width) for _ in range(ends.number(2)))
        items.references.append((kind, source, targets))
        budget -= 1 + len(targets)
        if budget < 0:
            raise ValueError("the AVIF file has more references than any picture")


def _read_properties(body: bytes, items: _Items) -> None:
    for kind, inner in _boxes(body, "the iprp box of the AVIF file"):
        if kind == b"ipco":
            items.properties = list(_boxes(inner, "the ipco box of the AVIF file"))
        elif kind == b"ipma":
            reader = Reader(inner, "the ipma box of the AVIF file")
            head = reader.number(4)
            width = 2 if head & 1 else 1
            for _ in range(min(reader.number(4), _ITEM_LIMIT)):
                number = reader.number(4 if head >> 24 else 2)
                marks = [reader.number(width) & (0x7FFF if width == 2 else 0x7F) for _ in range(reader.number(1))]
                items.owned.setdefault(number, []).extend(marks)


def _properties_of(items: _Items, number: int) -> list[tuple[bytes, bytes]]:
    places = items.owned.get(number, [])
    return [items.properties[place - 1] for place in places if 0 < place <= len(items.properties)]


def _described(items: _Items) -> tuple[Size, bytes | None]:
    """Return the size of the primary item and its ICC profile."""
    size, profile = None, None
    for kind, body in _properties_of(items, items.primary):
        if kind == b"ispe":
            reader = Reader(body, "the ispe box of the AVIF file", at=4)
            size = Size(reader.number(4), reader.number(4))
        elif kind == b"colr" and body[:4] in _ICC_COLOURS:
            profile = body[4:]
    if size is None:
        raise ValueError("the AVIF file does not say how large its picture is")
    return size, profile


def _deciding(items: _Items, number: int) -> Iterator[bytes]:
    """Give the properties that decide pixels, in the order that they stand in, without the ICC profile."""
    for kind, body in _properties_of(items, number):
        if not (kind == b"colr" and body[:4] in _ICC_COLOURS):
            yield kind + body


def _made_of(items: _Items) -> set[int]:
    """Return the primary item, what it is derived from, and their alpha planes."""
    found, waiting = set[int](), [items.primary]
    while waiting:
        number = waiting.pop()
        if number in found:
            continue
        found.add(number)
        for kind, source, targets in items.references:
            if kind == b"dimg" and source == number:
                waiting += targets
            elif kind == b"auxl" and number in targets:
                waiting.append(source)
    return found & items.kinds.keys()


def _is_fact(kind: tuple[bytes, bytes]) -> bool:
    return kind[0] == b"Exif" or kind == (b"mime", _XMP_TYPE)


def _data(items: _Items, number: int, data: bytes) -> bytes:
    method, extents = items.places.get(number, (-1, []))
    if method not in {0, 1}:
        raise ValueError(f"the AVIF file keeps item {number} in a place that cannot be read")
    source = data if method == 0 else items.idat
    if sum(length for _, length in extents) > len(source):
        raise ValueError("the AVIF file is cut short: an item is larger than the file")
    return b"".join(
        Reader(source, "the AVIF file", at=offset).take(length or len(source) - offset) for offset, length in extents
    )


def _block(item: bytes) -> bytes:
    """Return the block of an Exif item, behind the offset that its first four bytes give."""
    reader = Reader(item, "the Exif item of the AVIF file")
    reader.take(reader.number(4))
    return reader.take(reader.left)
