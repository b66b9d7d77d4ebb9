"""TIFF whose codes stand in it as they are, read straight into memory: as libvips reads them, in a third of its time.

Editors save masters so, most often. Source: [TIFF6] TIFF 6.0 section 3 (baseline fields and their defaults), section 7
(strips), sections 14 (predictor) and 19 (sample format).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.frames.tiff import open_tiff

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from io import FileIO
    from pathlib import Path

    import pyvips
    from numpy.typing import NDArray

    from pipeline.frames.tiff import Directory, Tiff

_WIDTH, _HEIGHT, _BITS, _COMPRESSION, _PHOTOMETRIC = 256, 257, 258, 259, 262
_OFFSETS, _BANDS, _COUNTS, _PLANAR = 273, 277, 279, 284
_PREDICTOR, _TILE_WIDTH, _SAMPLE_FORMAT = 317, 322, 339
_BLACK_IS_ZERO, _RGB = 1, 2
_DEPTHS = {"uchar": 1, "ushort": 2}
PAGE = 4096  # bytes
ASIDE = 64  # bytes: where memory begins less than that further on in its page, AMD's processors copy to it slowly


def plain_codes(image: pyvips.Image, path: Path) -> NDArray[Any] | None:
    """Return the codes (h, w, bands; uint8 or uint16) of a TIFF file whose header libvips has read as `image`.

    None where they are packed, in tiles, in planes or anything but grey or RGB, and where the file does not hold them
    all: libvips is then asked. OSError where the file cannot be read.
    """
    with path.open("rb", buffering=0) as stream:
        tiff = open_tiff(stream)
        directory = tiff.directory(tiff.first) if tiff else None
        if tiff is None or directory is None or not _is_plain(tiff, directory, image):
            return None
        shape, depth = (image.height, image.width, image.bands), _DEPTHS[image.format]
        strips = list(_runs(*(tiff.whole_numbers(directory.entries.get(tag)) for tag in (_OFFSETS, _COUNTS))))
        size = math.prod(shape) * depth
        if sum(length for _, length in strips) != size:
            return None
        room = room_for(size, strips[0][0])
        if not _is_filled(room.data, stream, strips):
            return None
    codes = room.view(f"{tiff.order}u{depth}")
    return codes.astype(codes.dtype.newbyteorder("="), copy=False).reshape(shape)


def _is_plain(tiff: Tiff, directory: Directory, image: pyvips.Image) -> bool:
    """Return whether the fields say that the strips are rows of grey or RGB, code by code, and as `image` has them."""
    if image.format not in _DEPTHS:
        return False
    wanted = {
        _WIDTH: image.width,
        _HEIGHT: image.height,
        _BITS: 8 * _DEPTHS[image.format],
        _PHOTOMETRIC: {1: _BLACK_IS_ZERO, 3: _RGB}.get(image.bands),
        _BANDS: image.bands,
        _COMPRESSION: 1,
        _PLANAR: 1,
        _PREDICTOR: 1,
        _SAMPLE_FORMAT: 1,
    }
    may_be_left_out = {tag: {1} for tag in (_BANDS, _COMPRESSION, _PLANAR, _PREDICTOR, _SAMPLE_FORMAT)}
    entries = directory.entries
    found = {tag: set(tiff.whole_numbers(entries[tag])) for tag in wanted if tag in entries}
    return _TILE_WIDTH not in entries and all(
        found.get(tag, may_be_left_out.get(tag)) == {value} for tag, value in wanted.items()
    )


def _runs(offsets: Sequence[int], counts: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield where strips begin and how long they are, as one where they follow each other in the file."""
    start = end = -1
    for offset, count in zip(offsets, counts, strict=False):
        if offset != end:
            if end > start:
                yield start, end - start
            start = end = offset
        end += count
    if end > start:
        yield start, end - start


def room_for(size: int, start: int) -> NDArray[np.uint8]:
    """Return so many bytes of memory, to read into what stands in a file from `start` on.

    They begin a little further on in a page of memory than `start` in its own: see `ASIDE`.
    """
    room = np.empty(size + PAGE, np.uint8)
    first = (math.ceil(start / ASIDE + 1) * ASIDE - room.ctypes.data) % PAGE
    return room[first : first + size]


def _is_filled(room: memoryview, stream: FileIO, strips: Sequence[tuple[int, int]]) -> bool:
    """Return whether the file held all of the strips; they are in `room` then."""
    for offset, length in strips:
        stream.seek(offset)
        part, room = room[:length], room[length:]
        while part:
            read = stream.readinto(part)
            if not read:
                return False
            part = part[read:]
    return True
