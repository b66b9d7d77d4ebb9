"""Which format a file is, by its content and never by its extension.

Many raws are TIFF inside, with a thumbnail where a general reader looks; so a TIFF is walked for the marks
of a raw before it is called a TIFF. Sources: [TIFF6], [DNG] tags 50706 and PhotometricInterpretation 32803
(colour filter array) and 34892 (linear raw), ISO/IEC 23008-12 brands; makers' magic numbers from memory.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames.tiff import Tiff, open_tiff

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import FrameFormat

HEAD_BYTES = 4096

DNG_VERSION = 50706
PHOTOMETRIC = 262
FILTER_ARRAY, LINEAR_RAW = 32803, 34892

RAW_STARTS = (
    b"FUJIFILMCCD-RAW",
    b"IIRO",
    b"IIRS",
    b"MMOR",
    b"IIU\0",
    b"FOVb",
    b"\0MRM",
)
AVIF_BRANDS = {b"avif", b"avis"}
HEIC_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1"}

# What people put in a frames folder by mistake, by its first bytes.
KNOWN_STARTS = (
    (b"%PDF-", "a PDF document"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a bitmap (BMP) picture"),
    (b"8BPS", "a layered working file (PSD)"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture"),
    (b"<svg", "an SVG drawing"),
    (b"<!doctype html", "a web page"),
    (b"<html", "a web page"),
)


def sniff(path: Path) -> FrameFormat | None:
    """Return the format of a file; None where it is not one of ours. Raises OSError where it cannot be read."""
    with path.open("rb") as stream:
        return sniff_stream(stream)


def sniff_stream(stream: BinaryIO) -> FrameFormat | None:
    """Return the format of what the stream holds; None where it is not one of ours. Never raises on content."""
    stream.seek(0)
    head = stream.read(HEAD_BYTES)
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(b"RIFF") and head[8:12] == b"WEBP":
        return "webp"
    if head[4:8] == b"ftyp":
        return _by_brand(head)
    if head.startswith(RAW_STARTS) or head[6:14] == b"HEAPCCDR":
        return "raw"
    if tiff := open_tiff(stream):
        return "raw" if _is_raw(tiff, head) else "tiff"
    return None


def _by_brand(head: bytes) -> FrameFormat | None:
    """Return the format of an ISO media file: the major brand decides, then the compatible ones."""
    (size,) = struct.unpack_from(">I", head)
    listed = head[16 : min(size, HEAD_BYTES)]
    compatible = {listed[at : at + 4] for at in range(0, len(listed) - 3, 4)}
    major = head[8:12]
    if major == b"crx ":
        return "raw"
    if major in AVIF_BRANDS or (compatible & AVIF_BRANDS and major not in HEIC_BRANDS - {b"mif1", b"msf1"}):
        return "avif"
    return "heic" if major in HEIC_BRANDS or compatible & HEIC_BRANDS else None


def _is_raw(tiff: Tiff, head: bytes) -> bool:
    """Return whether a TIFF structure holds a camera raw, anywhere in its directories."""
    if head[8:10] == b"CR" or head[8:12] in (b"IIII", b"MMMM"):
        return True
    return any(
        DNG_VERSION in directory.entries
        or tiff.number(directory.entries.get(PHOTOMETRIC)) in (FILTER_ARRAY, LINEAR_RAW)
        for directory in tiff.walk().directories
    )


def looks_like(head: bytes) -> str:
    """Return in a person's words what a file that is no frame looks like, from its first bytes (at least one)."""
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    for known, words in KNOWN_STARTS:
        if head.startswith(known) or (known.startswith(b"<") and start.startswith(known)):
            return words
    if head[4:8] == b"ftyp":
        return "a video"
    return "a text file" if _is_text(head) else "nothing known here"


def _is_text(head: bytes) -> bool:
    """Return whether the bytes are UTF-8 text; a letter cut at the end of the head does not count against it."""
    try:
        words = head.decode("utf-8")
    except UnicodeDecodeError as error:
        if len(head) < HEAD_BYTES or error.start < len(head) - 3:
            return False
        words = head[: error.start].decode("utf-8")
    return all(letter.isprintable() or letter in "\t\n\r\f" for letter in words.removeprefix("\ufeff"))
