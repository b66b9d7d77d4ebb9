"""The directories of TIFF (and so of Exif): read into values, written again at any place.

Source: TIFF 6.0, section 2 ("TIFF Structure"): header, directory entries of 12 bytes, values of more than
four bytes by offset, every offset on a word boundary. Type 13 (IFD) is from TIFF Technical Note 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

from pipeline.render.containers.cursor import Cursor

if TYPE_CHECKING:
    from collections.abc import Container, Iterable, Mapping

ByteOrder = Literal["big", "little"]

HEADER_BYTES = 8
BYTE, SHORT, LONG, UNDEFINED = 1, 3, 4, 7
EXIF_IFD = 34665
_FURTHER_DIRECTORIES = frozenset({330, 34853, 37500, 40965})  # SubIFDs, GPS, maker note, interoperability
_EVERY_TAG = range(1 << 16)
_BLOCK = "the Exif block"
_OFFSET_LIMIT = 1 << 32
# Bytes of one value, and of the numbers that it is made of (a rational is two numbers of four bytes).
_VALUE_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_NUMBER_BYTES = _VALUE_BYTES | {5: 4, 10: 4}


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry of a directory; `value` holds all of its values, little-endian whatever the file's order."""

    tag: int
    type: int
    value: bytes

    @property
    def count(self) -> int:
        """Return how many values of the entry's type there are."""
        return len(self.value) // _VALUE_BYTES[self.type]

    @property
    def numbers(self) -> tuple[int, ...]:
        """Return the values as unsigned numbers (a rational gives two)."""
        width = _NUMBER_BYTES[self.type]
        starts = range(0, len(self.value), width)
        return tuple(int.from_bytes(self.value[start : start + width], "little") for start in starts)


@dataclass(frozen=True, slots=True)
class ExifBlock:
    """An Exif block taken apart: its first directory (without the pointer) and its Exif directory."""

    order: ByteOrder
    first: dict[int, Entry]
    second: dict[int, Entry]


def shorts(tag: int, numbers: Iterable[int]) -> Entry:
    """Return an entry of unsigned 16-bit numbers."""
    return Entry(tag, SHORT, b"".join(number.to_bytes(2, "little") for number in numbers))


def longs(tag: int, numbers: Iterable[int]) -> Entry:
    """Return an entry of unsigned 32-bit numbers."""
    return Entry(tag, LONG, b"".join(number.to_bytes(4, "little") for number in numbers))


def read_header(data: bytes, what: str) -> tuple[ByteOrder, int]:
    """Return the byte order and the offset of the first directory; ValueError for anything but classic TIFF."""
    order: ByteOrder
    match data[:2]:
        case b"II":
            order = "little"
        case b"MM":
            order = "big"
        case _:
            raise ValueError(f"{what} does not begin with a TIFF header")
    cursor = Cursor(data, what, order, at=2)
    version = cursor.number(2)
    if version == 43:
        raise ValueError(f"{what} is BigTIFF (64-bit offsets); only classic TIFF can be rewritten")
    if version != 42:
        raise ValueError(f"{what} does not begin with a TIFF header")
    return order, cursor.number(4)


def read_directory(
    data: bytes, order: ByteOrder, offset: int, wanted: Container[int], what: str
) -> tuple[dict[int, Entry], int]:
    """Return the `wanted` entries of the directory at `offset` by tag, and the offset of the next directory.

    Entries that are not wanted are not looked into. ValueError where the directory or a wanted value lies
    outside the data, has an unknown type or comes twice.
    """
    cursor = Cursor(data, what, order, at=offset)
    entries: dict[int, Entry] = {}
    for _ in range(cursor.number(2)):
        tag, kind, count = cursor.number(2), cursor.number(2), cursor.number(4)
        value = cursor.take(4)
        if tag not in wanted:
            continue
        if kind not in _VALUE_BYTES:
            raise ValueError(f"{what}: tag {tag} has the unknown type {kind}")
        if tag in entries:
            raise ValueError(f"{what}: tag {tag} is there twice")
        size = count * _VALUE_BYTES[kind]
        if size > 4:
            value = Cursor(data, what, at=int.from_bytes(value, order)).take(size)
        value = value[:size]
        entries[tag] = Entry(tag, kind, value if order == "little" else _swapped(value, kind))
    following = cursor.number(4) if cursor.left else 0  # some writers leave it out behind the Exif directory
    return entries, following


@lru_cache(maxsize=16)  # a file's block is looked at several times on its way
def read_exif(block: bytes) -> ExifBlock:
    """Take a block apart that begins with a TIFF header.

    ValueError where it has no Exif directory, or more directories than these two.
    """
    order, offset = read_header(block, _BLOCK)
    first, following = read_directory(block, order, offset, _EVERY_TAG, _BLOCK)
    pointer = first.pop(EXIF_IFD, None)
    if pointer is None or len(pointer.numbers) != 1:
        raise ValueError(f"{_BLOCK} has no Exif directory")
    second, _ = read_directory(block, order, pointer.numbers[0], _EVERY_TAG, _BLOCK)
    if following or not _FURTHER_DIRECTORIES.isdisjoint(first.keys() | second.keys()):
        raise ValueError(f"{_BLOCK} holds a position, a thumbnail or another directory that must not be written")
    return ExifBlock(order, first, second)


def write_exif(block: ExifBlock) -> bytes:
    """Return the block as bytes: header, first directory, Exif directory, every offset even, no successors."""

    def first(exif_at: int) -> bytes:
        return write_directory(block.first | {EXIF_IFD: longs(EXIF_IFD, (exif_at,))}, block.order, HEADER_BYTES)

    exif_at = HEADER_BYTES + len(first(0))
    second = write_directory(block.second, block.order, exif_at)
    return write_header(block.order, HEADER_BYTES) + first(exif_at) + second


def write_header(order: ByteOrder, offset: int) -> bytes:
    """Return the eight bytes that begin a TIFF file whose first directory stands at `offset`."""
    return (b"II" if order == "little" else b"MM") + (42).to_bytes(2, order) + offset.to_bytes(4, order)


def write_directory(entries: Mapping[int, Entry], order: ByteOrder, offset: int) -> bytes:
    """Return a directory without a successor, its values behind it, for the even place `offset`.

    The length is even and depends on the entries' sizes only, never on the numbers in them.
    """
    values_at = offset + 2 + 12 * len(entries) + 4
    directory, values = len(entries).to_bytes(2, order), b""
    for tag, entry in sorted(entries.items()):
        value = entry.value if order == "little" else _swapped(entry.value, entry.type)
        if len(value) > 4:
            place = values_at + len(values)
            if place >= _OFFSET_LIMIT:
                raise ValueError("the file would be larger than classic TIFF can be (4 GiB)")
            values += even(value)
            value = place.to_bytes(4, order)
        head = tag.to_bytes(2, order) + entry.type.to_bytes(2, order) + entry.count.to_bytes(4, order)
        directory += head + value.ljust(4, b"\0")
    return directory + bytes(4) + values


def even(data: bytes) -> bytes:
    """Return the bytes, one zero longer where their number is odd."""
    return data + bytes(len(data) % 2)


def _swapped(value: bytes, kind: int) -> bytes:
    """Return the numbers of `value` in the other byte order."""
    width = _NUMBER_BYTES[kind]
    return b"".join(value[start : start + width][::-1] for start in range(0, len(value), width))
