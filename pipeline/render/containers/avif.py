"""AVIF: metadata as items of the meta box that describe the primary item.

Sources: ISO/IEC 14496-12 8.11 (meta, iloc, iinf, iref, pitm, idat), ISO/IEC 23008-12 9.3 (item properties) and Annex A
(Exif item with a four-byte offset, XMP as `mime` item, `cdsc` references), AV1 Image File Format 1.1 (av01 items).

The file is laid out anew (ftyp, meta, mdat). Only what decides the pixels of the primary item is kept: the item, the
items it is derived from (`dimg`), its alpha plane (`auxl`), and their properties. Thumbnails, other
pictures, free text in item names and properties, and bytes that no item uses are gone.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from pipeline.render.containers.boxes import MediaBox, read_boxes, write_box, write_full_box
from pipeline.render.containers.cursor import Cursor

if TYPE_CHECKING:
    from collections.abc import Iterator

_XMP_TYPE = b"application/rdf+xml"
_PICTURE_ITEMS = frozenset({b"av01", b"grid", b"iovl", b"iden"})
_PICTURE_REFERENCES = frozenset({b"auxl", b"dimg", b"prem"})
_PICTURE_PROPERTIES = frozenset(
    {b"av1C", b"ispe", b"pixi", b"colr", b"auxC", b"irot", b"imir", b"clap", b"pasp"}
    | {b"a1op", b"a1lx", b"lsel", b"clli", b"mdcv", b"cclv", b"amve"}
)
_IN_FILE, _IN_IDAT = 0, 1
_HIDDEN = 1
_ITEM_LIMIT = (1 << 16) - 1


class _Extent(NamedTuple):
    offset: int
    length: int


class _Location(NamedTuple):
    method: int
    outside: int
    extents: tuple[_Extent, ...]


class _Reference(NamedTuple):
    kind: bytes
    source: int
    targets: tuple[int, ...]


class _Association(NamedTuple):
    place: int
    essential: bool


@dataclass(frozen=True, slots=True)
class _Item:
    """A picture item: its number, kind, `infe` flags, where its data belongs, the data, its properties (from 1)."""

    number: int
    kind: bytes
    flags: int
    method: int
    data: bytes
    properties: tuple[_Association, ...]


@dataclass(frozen=True, slots=True)
class _Picture:
    """What is kept of an AVIF file; `items` by number, `properties` as whole boxes."""

    brands: bytes
    primary: int
    items: tuple[_Item, ...]
    references: tuple[_Reference, ...]
    properties: tuple[MediaBox, ...]


def rewrite(encoded: bytes, exif: bytes, xmp: bytes) -> bytes:
    """Return the file with this metadata and no other; ValueError for data that is not a whole AVIF still picture."""
    picture = _picture(encoded)
    number = picture.items[-1].number
    if number + 2 > _ITEM_LIMIT:
        raise ValueError(f"the AVIF file numbers its items up to {number}, no number is left for metadata")
    infos = [_info(item.number, item.kind, item.flags) for item in picture.items]
    infos.append(_info(number + 1, b"Exif", _HIDDEN))
    infos.append(_info(number + 2, b"mime", _HIDDEN, _XMP_TYPE + b"\0"))
    described = (picture.primary,)
    references = (
        *picture.references,
        _Reference(b"cdsc", number + 1, described),
        _Reference(b"cdsc", number + 2, described),
    )
    in_idat = [item for item in picture.items if item.method == _IN_IDAT]
    in_file = [(item.number, item.data) for item in picture.items if item.method == _IN_FILE]
    in_file += [(number + 1, bytes(4) + exif), (number + 2, xmp)]

    def meta(data_at: int) -> bytes:
        boxes = (
            write_full_box(b"hdlr", 0, 0, bytes(4) + b"pict" + bytes(13)),
            write_full_box(b"pitm", 0, 0, picture.primary.to_bytes(2, "big")),
            _locations([(item.number, item.data) for item in in_idat], in_file, data_at),
            write_full_box(b"iinf", 0, 0, len(infos).to_bytes(2, "big") + b"".join(infos)),
            write_full_box(b"iref", 0, 0, b"".join(_reference(reference) for reference in references)),
            _properties(picture),
            write_box(b"idat", b"".join(item.data for item in in_idat)) if in_idat else b"",
        )
        return write_full_box(b"meta", 0, 0, b"".join(boxes))

    head = write_box(b"ftyp", picture.brands)
    data_at = len(head) + len(meta(0)) + 8
    return head + meta(data_at) + write_box(b"mdat", b"".join(data for _, data in in_file))


def picture_data(encoded: bytes) -> bytes:
    """Return the data of every item that the picture is made of (colour, alpha, grid), in order of their numbers."""
    return b"".join(item.data for item in _picture(encoded).items)


# Writing


def _info(number: int, kind: bytes, flags: int, more: bytes = b"") -> bytes:
    """Return an item's `infe` entry, without protection and without a name."""
    return write_full_box(b"infe", 2, flags, number.to_bytes(2, "big") + bytes(2) + kind + b"\0" + more)


def _reference(reference: _Reference) -> bytes:
    numbers = (reference.source, len(reference.targets), *reference.targets)
    return write_box(reference.kind, b"".join(number.to_bytes(2, "big") for number in numbers))


def _locations(in_idat: list[tuple[int, bytes]], in_file: list[tuple[int, bytes]], data_at: int) -> bytes:
    """Return `iloc`: one extent an item, offsets and lengths of four bytes, version 1 where `idat` is used."""
    version = 1 if in_idat else 0
    placed: list[tuple[int, int, int, int]] = []
    for method, place, items in ((_IN_IDAT, 0, in_idat), (_IN_FILE, data_at, in_file)):
        start = place
        for number, data in items:
            placed.append((number, method, start, len(data)))
            start += len(data)
    if any(start + length >= 1 << 32 for _, _, start, length in placed):
        raise ValueError("the AVIF file would be larger than four bytes can count")
    body = b"\x44\x00" + len(placed).to_bytes(2, "big")
    for number, method, start, length in sorted(placed):
        body += number.to_bytes(2, "big")
        body += method.to_bytes(2, "big") if version else b""
        body += bytes(2) + b"\0\x01" + start.to_bytes(4, "big") + length.to_bytes(4, "big")
    return write_full_box(b"iloc", version, 0, body)


def _properties(picture: _Picture) -> bytes:
    """Return `iprp`: the properties and which item has which (two bytes each where there are more than 127)."""
    wide = len(picture.properties) > 0x7F
    body = len(picture.items).to_bytes(4, "big")
    for item in picture.items:
        body += item.number.to_bytes(2, "big") + len(item.properties).to_bytes(1, "big")
        for index, essential in item.properties:
            body += ((essential << 15) | index).to_bytes(2, "big") if wide else bytes(((essential << 7) | index,))
    container = b"".join(write_box(item.kind, item.body) for item in picture.properties)
    return write_box(b"iprp", write_box(b"ipco", container) + write_full_box(b"ipma", 0, int(wide), body))


# Reading


def _picture(encoded: bytes) -> _Picture:
    """Take the file apart."""
    outer = read_boxes(encoded, "the AVIF file")
    if not outer or outer[0].kind != b"ftyp":
        raise ValueError("the AVIF file does not begin with its ftyp box")
    if any(box.kind in {b"moov", b"moof"} for box in outer):
        raise ValueError("the AVIF file is a sequence, not one still picture")
    _, _, meta = _opened(_only(outer, b"meta"))
    inner = read_boxes(meta.take(meta.left), "the meta box of the AVIF file")
    primary = _read_primary(_only(inner, b"pitm"))
    references = tuple(entry for box in inner if box.kind == b"iref" for entry in _read_references(box))
    kept = _reachable(primary, references)
    infos = _read_infos(_only(inner, b"iinf"))
    locations = _read_locations(_only(inner, b"iloc"))
    properties, associations = _read_properties(_only(inner, b"iprp"))
    idat = b"".join(box.body for box in inner if box.kind == b"idat")
    used = sorted({entry.place for number in kept for entry in associations.get(number, [])} & properties.keys())
    renumbered = {old: new for new, old in enumerate(used, start=1)}
    items: list[_Item] = []
    budget = len(encoded)
    for number in sorted(kept):
        if number not in infos or number not in locations:
            raise ValueError(f"the AVIF file refers to item {number}, which is not there")
        kind, flags = infos[number]
        if kind not in _PICTURE_ITEMS:
            raise ValueError(f"the AVIF file builds its picture from an item of the unknown kind {kind!r}")
        data = _read_data(locations[number], encoded, idat)
        own = _kept_associations(associations.get(number, []), renumbered)
        items.append(_Item(number, kind, flags, locations[number].method, data, own))
        budget -= len(data)
        if budget < 0:
            raise ValueError("the AVIF file has items that use the same bytes")
    return _Picture(
        outer[0].body,
        primary,
        tuple(items),
        tuple(_kept_references(references, kept)),
        tuple(properties[index] for index in used),
    )


def _only(boxes: tuple[MediaBox, ...], kind: bytes) -> MediaBox:
    found = [box for box in boxes if box.kind == kind]
    if len(found) != 1:
        raise ValueError(f"the AVIF file must hold one {kind.decode('ascii')} box, not {len(found)}")
    return found[0]


def _opened(box: MediaBox) -> tuple[int, int, Cursor]:
    """Return version, flags and the rest of a full box."""
    cursor = Cursor(box.body, f"the {box.kind.decode('latin-1')} box of the AVIF file")
    return cursor.number(1), cursor.number(3), cursor


def _read_primary(box: MediaBox) -> int:
    version, _, cursor = _opened(box)
    return cursor.number(4 if version else 2)


def _read_infos(box: MediaBox) -> dict[int, tuple[bytes, int]]:
    """Return kind and flags of each item; an item of an older version, which has no kind, is left out."""
    version, _, cursor = _opened(box)
    cursor.number(4 if version else 2)
    infos = {}
    for entry in read_boxes(cursor.take(cursor.left), "the iinf box of the AVIF file"):
        entry_version, flags, info = _opened(entry)
        if entry.kind == b"infe" and entry_version >= 2:
            number = info.number(2 if entry_version == 2 else 4)
            protected = info.number(2)
            if not protected:
                infos[number] = (info.take(4), flags)
    return infos


def _read_locations(box: MediaBox) -> dict[int, _Location]:
    version, _, cursor = _opened(box)
    widths = cursor.number(2)
    offset_width, length_width, base_width, index_width = (widths >> shift & 15 for shift in (12, 8, 4, 0))
    if version > 2 or not length_width:
        raise ValueError("the AVIF file locates its items in a way that is not known")
    locations = {}
    for _ in range(cursor.number(4 if version == 2 else 2)):
        number = cursor.number(4 if version == 2 else 2)
        method = cursor.number(2) & 15 if version else _IN_FILE
        outside = cursor.number(2)
        base = cursor.number(base_width)
        extents = []
        for _ in range(cursor.number(2)):
            cursor.number(index_width if version else 0)
            offset = base + cursor.number(offset_width)
            extents.append(_Extent(offset, cursor.number(length_width)))
        locations[number] = _Location(method, outside, tuple(extents))
    return locations


def _read_data(location: _Location, encoded: bytes, idat: bytes) -> bytes:
    """Return an item's data, its extents joined."""
    if location.outside or location.method not in {_IN_FILE, _IN_IDAT}:
        raise ValueError("the AVIF file keeps the data of an item in another place than itself")
    source = encoded if location.method == _IN_FILE else idat
    if not location.extents or not all(extent.length for extent in location.extents):
        raise ValueError("the AVIF file has an item without data")
    if sum(extent.length for extent in location.extents) > len(source):
        raise ValueError("the AVIF file is cut short: an item is larger than the file")
    return b"".join(
        Cursor(source, "the AVIF file", at=extent.offset).take(extent.length) for extent in location.extents
    )


def _read_references(box: MediaBox) -> tuple[_Reference, ...]:
    version, _, cursor = _opened(box)
    width = 4 if version else 2
    references = []
    for entry in read_boxes(cursor.take(cursor.left), "the iref box of the AVIF file"):
        ends = Cursor(entry.body, "the iref box of the AVIF file")
        source = ends.number(width)
        targets = tuple(ends.number(width) for _ in range(ends.number(2)))
        references.append(_Reference(entry.kind, source, targets))
    return tuple(references)


def _read_properties(box: MediaBox) -> tuple[dict[int, MediaBox], dict[int, list[_Association]]]:
    """Return the properties that decide pixels by index (from 1), and each item's associations."""
    inner = read_boxes(box.body, "the iprp box of the AVIF file")
    container = read_boxes(_only(inner, b"ipco").body, "the ipco box of the AVIF file")
    properties = {index: item for index, item in enumerate(container, start=1) if item.kind in _PICTURE_PROPERTIES}
    associations: defaultdict[int, list[_Association]] = defaultdict(list)
    for entry in (item for item in inner if item.kind == b"ipma"):
        version, flags, cursor = _opened(entry)
        width = 2 if flags & 1 else 1
        essential = 0x80 << 8 * (width - 1)
        for _ in range(cursor.number(4)):
            number = cursor.number(4 if version else 2)
            values = [cursor.number(width) for _ in range(cursor.number(1))]
            associations[number] += [_Association(value & (essential - 1), bool(value & essential)) for value in values]
    return properties, associations


def _kept_associations(own: list[_Association], renumbered: dict[int, int]) -> tuple[_Association, ...]:
    """Return an item's properties under their new numbers; ValueError where one that matters is not known."""
    if any(entry.essential and entry.place not in renumbered for entry in own):
        raise ValueError("the AVIF file holds an essential property that is not known")
    kept = tuple(_Association(renumbered[entry.place], entry.essential) for entry in own if entry.place in renumbered)
    if len(kept) > 0xFF:
        raise ValueError("the AVIF file holds more properties of one item than can be counted")
    return kept


def _kept_references(references: tuple[_Reference, ...], kept: frozenset[int]) -> Iterator[_Reference]:
    """Give the references of the picture, each with the ends that are kept."""
    for kind, source, targets in references:
        ends = tuple(target for target in targets if target in kept)
        if kind in _PICTURE_REFERENCES and source in kept and ends:
            yield _Reference(kind, source, ends)


def _reachable(primary: int, references: tuple[_Reference, ...]) -> frozenset[int]:
    """Return the items that the primary item's pixels come from, itself with them."""
    following: defaultdict[int, list[int]] = defaultdict(list)
    for kind, source, targets in references:
        for target in targets:
            if kind == b"dimg":
                following[source].append(target)
            elif kind == b"auxl":
                following[target].append(source)
    found, waiting = {primary}, [primary]
    while waiting:
        news = set(following[waiting.pop()]) - found
        found |= news
        waiting += news
    return frozenset(found)
