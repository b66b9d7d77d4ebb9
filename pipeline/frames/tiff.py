"""A bounded reader of TIFF directories: classic and BigTIFF, either byte order, and raws that are TIFF inside.

Every offset and count in a file is a claim by a stranger. So nothing here trusts one: reads stop at the end
of the file, directories are visited once, and how many directories, entries and value bytes are looked at
is capped. No function raises on any content. Source: [TIFF6] TIFF 6.0 section 2; BigTIFF, DNG and the
magic numbers of camera makers from memory.
"""

from __future__ import annotations

import os
import struct
from collections import deque
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, BinaryIO

if TYPE_CHECKING:
    from collections.abc import Mapping

MAX_DIRECTORIES = 64
MAX_ENTRIES = 1024
MAX_VALUE_BYTES = 4 << 20

SUB_IFDS = 330

CLASSIC, BIG = 42, 43
# 'RO' and 'RS' (ORF) and 'U\0' (RW2) stand where TIFF has 42; their directories are ordinary.
MAGICS = {CLASSIC, BIG, 0x4F52, 0x5352, 0x0055}

# Field types by number: bytes of one value. 129 is UTF-8 text, new in Exif 3.0.
TYPE_BYTES = {
    1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4, 16: 8, 17: 8, 18: 8, 129: 1,
}  # fmt: skip
WHOLE_NUMBERS = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q", 18: "Q"}
RATIONALS = {5: "I", 10: "i"}
TEXTS = {2, 7, 129}


@dataclass(frozen=True, slots=True)
class Entry:
    """One field: its type and count as claimed, and where in the file its value bytes stand."""

    tag: int
    type: int
    count: int
    at: int


@dataclass(frozen=True, slots=True)
class Directory:
    """One IFD. `whole` is False where the file ends inside it; `next` is 0 at the end of a chain."""

    offset: int
    entries: Mapping[int, Entry]
    next: int
    whole: bool


@dataclass(frozen=True, slots=True)
class Walk:
    """Every directory reached from the first: its chain and all SubIFDs, each once.

    `dangling` is True where a pointer leads outside the file or a directory is cut: bytes are missing.
    """

    directories: tuple[Directory, ...]
    dangling: bool


@dataclass(frozen=True, slots=True)
class Tiff:
    """An open TIFF structure; offsets are relative to the start of `stream`."""

    stream: BinaryIO
    length: int
    order: str
    big: bool
    first: int

    def read(self, offset: int, count: int) -> bytes:
        """Return up to `count` bytes at `offset`; fewer, or none, where the file ends."""
        if not 0 <= offset < self.length:
            return b""
        self.stream.seek(offset)
        return self.stream.read(min(count, self.length - offset))

    def directory(self, offset: int) -> Directory | None:
        """Return the directory at `offset`, as far as it is in the file; None where not even its count is."""
        count_code, entry_code, entry_bytes, pointer = ("Q", "HHQ", 20, "Q") if self.big else ("H", "HHI", 12, "I")
        count_bytes, inline = struct.calcsize(self.order + count_code), struct.calcsize(self.order + pointer)
        head = self.read(offset, count_bytes)
        if offset < 8 or len(head) < count_bytes:
            return None
        (claimed,) = struct.unpack(self.order + count_code, head)
        count = min(claimed, MAX_ENTRIES)
        start = offset + count_bytes
        table = self.read(start, count * entry_bytes)
        entries: dict[int, Entry] = {}
        for index in range(len(table) // entry_bytes):
            tag, kind, values = struct.unpack_from(self.order + entry_code, table, index * entry_bytes)
            at = start + (index + 1) * entry_bytes - inline
            if values * TYPE_BYTES.get(kind, 1) > inline:
                (at,) = struct.unpack_from(self.order + pointer, table, (index + 1) * entry_bytes - inline)
            entries.setdefault(tag, Entry(tag, kind, values, at))
        end = self.read(start + count * entry_bytes, inline)
        # Camera makers leave the last pointer out of embedded directories, so a missing one is no cut.
        following = struct.unpack(self.order + pointer, end)[0] if claimed == count and len(end) == inline else 0
        return Directory(offset, entries, following, whole=len(table) == count * entry_bytes)

    def walk(self) -> Walk:
        """Return every directory reachable from the first by chain and SubIFDs; never loops."""
        found: dict[int, Directory] = {}
        waiting, dangling = deque([self.first]), False
        while waiting and len(found) < MAX_DIRECTORIES:
            offset = waiting.popleft()
            if offset in found:
                continue
            directory = self.directory(offset)
            if directory is None:
                dangling = True
                continue
            found[offset] = directory
            dangling = dangling or not directory.whole
            children = self.whole_numbers(directory.entries.get(SUB_IFDS))[:MAX_DIRECTORIES]
            waiting.extend(pointer for pointer in (*children, directory.next) if pointer)
        return Walk(tuple(found.values()), dangling)

    def lacks_values(self, directory: Directory) -> bool:
        """Return whether the value bytes of a field of known type end beyond the file."""
        return any(
            entry.at + entry.count * TYPE_BYTES.get(entry.type, 0) > self.length for entry in directory.entries.values()
        )

    def data(self, entry: Entry | None) -> bytes:
        """Return the value bytes of a field; empty where it is missing, cut, of unknown type or too large."""
        if entry is None or entry.type not in TYPE_BYTES:
            return b""
        wanted = entry.count * TYPE_BYTES[entry.type]
        if wanted > MAX_VALUE_BYTES:
            return b""
        data = self.read(entry.at, wanted)
        return data if len(data) == wanted else b""

    def whole_numbers(self, entry: Entry | None) -> tuple[int, ...]:
        """Return the values of an integer field; empty for every other."""
        code = WHOLE_NUMBERS.get(entry.type) if entry else None
        if entry is None or code is None:
            return ()
        data = self.data(entry)
        return struct.unpack(f"{self.order}{len(data) // TYPE_BYTES[entry.type]}{code}", data)

    def number(self, entry: Entry | None) -> int | None:
        """Return the first value of an integer field; None for every other."""
        values = self.whole_numbers(entry)
        return values[0] if values else None

    def fraction(self, entry: Entry | None) -> Fraction | None:
        """Return the first value of a rational or integer field; None for a zero denominator or another type."""
        code = RATIONALS.get(entry.type) if entry else None
        data = self.data(entry)
        if code is None or len(data) < 8:
            value = self.number(entry)
            return None if value is None else Fraction(value)
        numerator, denominator = struct.unpack(f"{self.order}2{code}", data[:8])
        return Fraction(numerator, denominator) if denominator else None

    def text(self, entry: Entry | None) -> str | None:
        """Return a text field up to its first NUL, as UTF-8 or else Latin-1, printable; None where empty."""
        if entry is None or entry.type not in TEXTS:
            return None
        data = self.data(entry).split(b"\0", 1)[0]
        try:
            words = data.decode("utf-8")
        except UnicodeDecodeError:
            words = data.decode("latin-1")
        return " ".join("".join(letter if letter.isprintable() else " " for letter in words).split()) or None


def open_tiff(stream: BinaryIO) -> Tiff | None:
    """Return the TIFF structure that starts the stream; None where there is none."""
    length = stream.seek(0, os.SEEK_END)
    stream.seek(0)
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        return None
    magic, first = struct.unpack_from(f"{order}HI", head, 2)
    if magic not in MAGICS:
        return None
    if magic != BIG:
        return Tiff(stream, length, order, big=False, first=first)
    if len(head) < 16:
        return None
    (first,) = struct.unpack_from(f"{order}Q", head, 8)
    return Tiff(stream, length, order, big=True, first=first)
