"""The boxes of ISO base media files (ISO/IEC 14496-12, 4.2): read from bytes, written to bytes."""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.render.containers.cursor import Cursor


@dataclass(frozen=True, slots=True)
class MediaBox:
    """One box: its four-character kind and what is in it."""

    kind: bytes
    body: bytes


def read_boxes(data: bytes, what: str) -> tuple[MediaBox, ...]:
    """Return the boxes that fill `data`; ValueError where they do not."""
    cursor = Cursor(data, what)
    boxes = []
    while cursor.left:
        size, kind = cursor.number(4), cursor.take(4)
        if size == 1:
            body = cursor.take(cursor.number(8) - 16)
        elif size == 0:
            body = cursor.take(cursor.left)
        else:
            body = cursor.take(size - 8)
        boxes.append(MediaBox(kind, body))
    return tuple(boxes)


def write_box(kind: bytes, body: bytes) -> bytes:
    """Return a box with a size of four bytes."""
    size = len(body) + 8
    if size >= 1 << 32:
        raise ValueError(f"a box of {size} bytes is larger than four bytes can count")
    return size.to_bytes(4, "big") + kind + body


def write_full_box(kind: bytes, version: int, flags: int, body: bytes) -> bytes:
    """Return a box that begins with version and flags."""
    return write_box(kind, bytes((version,)) + flags.to_bytes(3, "big") + body)
