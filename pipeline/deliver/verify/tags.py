"""Exif and TIFF directories, read with bounds.

Sources: TIFF 6.0 section 2 (directories, types), CIPA DC-008 4.6 (which tag stands in which directory; type 129 is the
UTF-8 text of Exif 3.0). Tags of other directories than the first and the Exif directory are only named, not looked
into: none of them is ever delivered.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from pipeline.deliver.verify.bounded import Order, Reader

if TYPE_CHECKING:
    from collections.abc import Container, Iterator

    from pipeline.deliver.verify.read_back import ExifValue

EXIF_IFD, GPS_IFD, INTEROP_IFD, SUB_IFDS = 0x8769, 0x8825, 0xA005, 0x014A
NAMES = {
    0x010E: "ImageDescription",
    0x010F: "Make",
    0x0110: "Model",
    0x0112: "Orientation",
    0x011A: "XResolution",
    0x011B: "YResolution",
    0x0128: "ResolutionUnit",
    0x0131: "Software",
    0x013B: "Artist",
    0x0213: "YCbCrPositioning",
    0x8298: "Copyright",
    0x829A: "ExposureTime",
    0x829D: "FNumber",
    0x8827: "PhotographicSensitivity",
    0x9000: "ExifVersion",
    0x9003: "DateTimeOriginal",
    0x9011: "OffsetTimeOriginal",
    0x9101: "ComponentsConfiguration",
    0x920A: "FocalLength",
    0x927C: "MakerNote",
    0x9286: "UserComment",
    0x9291: "SubSecTimeOriginal",
    0xA000: "FlashpixVersion",
    0xA001: "ColorSpace",
    0xA002: "PixelXDimension",
    0xA003: "PixelYDimension",
    0xA420: "ImageUniqueID",
    0xA430: "CameraOwnerName",
    0xA431: "BodySerialNumber",
    0xA434: "LensModel",
    0xA435: "LensSerialNumber",
}
_WIDTHS = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 129: 1}
_ASCII, _UTF8 = 2, 129
_ENTRY_LIMIT = 2000
_NUMBER_LIMIT = 1 << 20
_SHOWN_NUMBERS = 16


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a directory; its value as the file stores it."""

    tag: int
    type: int
    value: bytes
    order: Order

    @property
    def numbers(self) -> tuple[int, ...]:
        """Return integers (a rational gives two); ValueError where there are more than any picture needs."""
        width = 4 if self.type in {5, 10} else _WIDTHS[self.type]
        count = len(self.value) // width
        if count > _NUMBER_LIMIT:
            raise ValueError(f"tag {self.tag} holds {count} numbers")
        signed = self.type in {6, 8, 9, 10}
        letter = {1: "b", 2: "h", 4: "i", 8: "q"}[width]
        mark = ">" if self.order == "big" else "<"
        return struct.unpack_from(f"{mark}{count}{letter if signed else letter.upper()}", self.value)

    @property
    def plain(self) -> ExifValue:
        """Return text, fractions or integers, of long lists the beginning."""
        if self.type in {_ASCII, _UTF8}:
            return self.value.rstrip(b"\0").decode("utf-8", "backslashreplace")
        short = Entry(self.tag, self.type, self.value[: _SHOWN_NUMBERS * _WIDTHS[self.type]], self.order)
        numbers = short.numbers
        if self.type in {5, 10}:
            pairs = zip(numbers[::2], numbers[1::2], strict=True)
            return tuple(Fraction(upper, lower) if lower else Fraction(-1) for upper, lower in pairs)
        return numbers


@dataclass(frozen=True, slots=True)
class Directories:
    """The first directory and the Exif directory of a block, and in words what else hangs on it."""

    first: dict[int, Entry]
    exif: dict[int, Entry]
    others: tuple[str, ...]


def read_directories(data: bytes, what: str) -> Directories:
    """Return the directories of bytes that begin with a TIFF header. ValueError where they are none or cut short."""
    orders: dict[bytes, Order] = {b"II*\0": "little", b"MM\0*": "big"}
    order = orders.get(data[:4])
    if order is None:
        raise ValueError(f"{what} does not begin with a TIFF header")
    first, following = _directory(data, order, Reader(data, what, order, 4).number(4), what)
    others: list[str] = []
    exif: dict[int, Entry] = {}
    if EXIF_IFD in first:
        (place,) = first.pop(EXIF_IFD).numbers[:1] or (0,)
        exif, _ = _directory(data, order, place, what)
    for tag, name in ((GPS_IFD, "a GPS position"), (SUB_IFDS, "further pictures")):
        if first.pop(tag, None) or exif.pop(tag, None):
            others.append(f"{name} (Exif)")
    if exif.pop(INTEROP_IFD, None):
        others.append("an interoperability directory (Exif)")
    if following:
        others.append("a thumbnail or second picture (Exif)")
    return Directories(first, exif, tuple(others))


def named(directories: Directories, picture_tags: Container[int] = ()) -> dict[str, ExifValue]:
    """Return every value by the name of its tag, but for those that describe the picture data."""
    return dict(_named(directories, picture_tags))


def _named(directories: Directories, picture_tags: Container[int]) -> Iterator[tuple[str, ExifValue]]:
    for group, entries in (("IFD0", directories.first), ("Exif", directories.exif)):
        for tag, entry in entries.items():
            if group == "Exif" or tag not in picture_tags:
                yield NAMES.get(tag, f"{group} 0x{tag:04X}"), entry.plain


def _directory(data: bytes, order: Order, offset: int, what: str) -> tuple[dict[int, Entry], int]:
    """Return the entries of one directory by tag, and where the next one stands (0 for none)."""
    reader = Reader(data, what, order, offset)
    count = reader.number(2)
    if count > _ENTRY_LIMIT:
        raise ValueError(f"{what} has a directory of {count} entries")
    entries: dict[int, Entry] = {}
    budget = 2 * len(data)
    for _ in range(count):
        tag, kind, number = reader.number(2), reader.number(2), reader.number(4)
        value = reader.take(4)
        if kind not in _WIDTHS:
            raise ValueError(f"{what}: tag {tag} has the unknown type {kind}")
        size = number * _WIDTHS[kind]
        budget -= size
        if budget < 0:
            raise ValueError(f"{what} holds values that use the same bytes")
        if size > 4:
            value = Reader(data, what, order, int.from_bytes(value, order)).take(size)
        entries[tag] = Entry(tag, kind, value[:size], order)
    return entries, reader.number(4) if reader.left >= 4 else 0
