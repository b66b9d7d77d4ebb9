"""Whether bytes are missing from a file, as far as its own structure says, without decoding.

Decoders differ in what they make of a file that was cut short: some fill the rest with grey and report
success. Sources: [TIFF6] strips and tiles, [WEBP] RIFF size, ISO/IEC 14496-12 4.2; the RAF header from memory.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames import boxes, items
from pipeline.frames.sniff import DNG_VERSION, FILTER_ARRAY, LINEAR_RAW, PHOTOMETRIC
from pipeline.frames.tiff import Directory, Tiff, open_tiff

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

# Offsets and byte counts of strips, tiles, and of an embedded JPEG.
PLACES = ((273, 279), (324, 325), (513, 514))
# What ends the picture; programs append their own data behind it, so it is looked for near the end of the file.
ENDS: dict[FrameFormat, bytes] = {"jpeg": b"\xff\xd9", "png": b"IEND"}
TAIL_BYTES = 1 << 16
RAF_START, RAF_PLACES = b"FUJIFILMCCD-RAW", 84
RW2_START = b"IIU\0"


def is_cut_short(stream: BinaryIO, frame_format: FrameFormat) -> bool:
    """Return whether the file says of itself that more bytes should follow than it has.

    Certain for WebP, AVIF, HEIC, TIFF and most raws (`states_its_length`). For JPEG and PNG it tells only why
    decoding failed: their end mark is missing near the end of the file. Never raises on any content.
    """
    if end := ENDS.get(frame_format):
        stream.seek(max(0, boxes.file_length(stream) - TAIL_BYTES))
        return end not in stream.read()
    if frame_format == "webp":
        stream.seek(4)
        claim = stream.read(4)
        return len(claim) < 4 or 8 + int.from_bytes(claim, "little") > boxes.file_length(stream)
    if frame_format in ("avif", "heic"):
        return boxes.is_cut(stream) or items.lack_data(stream)
    if frame_format in ("tiff", "raw"):
        return _is_cut_tiff(stream, raw=frame_format == "raw")
    return False


def states_its_length(stream: BinaryIO) -> bool:
    """Return whether `is_cut_short` can be trusted for this raw: it says where its sensor data end."""
    stream.seek(0)
    head = stream.read(16)
    tiff_inside = open_tiff(stream) is not None and not head.startswith(RW2_START)
    return tiff_inside or head.startswith(RAF_START) or head[4:8] == b"ftyp"


def _is_cut_tiff(stream: BinaryIO, *, raw: bool) -> bool:
    stream.seek(0)
    head = stream.read(RAF_PLACES + 24)
    if head.startswith(RAF_START):
        return _is_cut_raf(head, boxes.file_length(stream))
    if head[4:8] == b"ftyp":
        return boxes.is_cut(stream)
    tiff = open_tiff(stream)
    if tiff is None or head.startswith(RW2_START):
        return False
    walk = tiff.walk()
    if not walk.directories:
        return True
    first = walk.directories[0]
    if not raw:
        return not first.whole or tiff.lacks_values(first) or _is_cut_picture(tiff, first)
    # Makers are careless with the pointers of previews; what counts is where the sensor data are.
    sensor = [found for found in walk.directories if _is_sensor_data(tiff, found)] or list(walk.directories)
    # Where even the list of strips or tiles is missing, none of them is: so it is looked for first.
    if DNG_VERSION in first.entries and (walk.dangling or tiff.lacks_values(first)):
        return True
    return any(tiff.lacks_values(directory) or _is_cut_picture(tiff, directory) for directory in sensor)


def _is_sensor_data(tiff: Tiff, directory: Directory) -> bool:
    return tiff.number(directory.entries.get(PHOTOMETRIC)) in (FILTER_ARRAY, LINEAR_RAW)


def _is_cut_picture(tiff: Tiff, directory: Directory) -> bool:
    """Return whether a strip or tile of the directory's picture ends beyond the file."""
    for offsets_tag, counts_tag in PLACES:
        offsets = tiff.whole_numbers(directory.entries.get(offsets_tag))
        counts = tiff.whole_numbers(directory.entries.get(counts_tag))
        if any(offset + count > tiff.length for offset, count in zip(offsets, counts, strict=False)):
            return True
    return False


def _is_cut_raf(head: bytes, length: int) -> bool:
    """Return whether preview, directory or sensor data (three pairs of offset and length) end beyond the file."""
    if len(head) < RAF_PLACES + 24:
        return True
    numbers = struct.unpack_from(">6I", head, RAF_PLACES)
    return any(offset + count > length for offset, count in zip(numbers[::2], numbers[1::2], strict=True))
