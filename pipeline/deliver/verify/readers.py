"""A delivered file, read back: its container by its first bytes, then what each part of it says."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from pipeline.deliver.verify import avif, jpeg, png, tiff, webp
from pipeline.deliver.verify.datasets import Datasets, read_datasets
from pipeline.deliver.verify.read_back import ReadBack
from pipeline.deliver.verify.tags import named, read_directories

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.verify.read_back import ExifValue, Parts, XmpValue

MOST_BYTES = 1 << 30


def read_file(path: Path) -> bytes:
    """Return the bytes of a picture file. Raises OSError; ValueError where it is larger than any delivered file."""
    if not path.is_file():
        raise ValueError("it is no file")
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise ValueError(f"it has {size} bytes; no delivered picture is that large")
    return path.read_bytes()


def read_back(data: bytes) -> ReadBack:
    """Return what a file holds. ValueError, in half a sentence, where its picture cannot be found.

    A part that is broken beside a whole picture (an Exif block, a packet) is no error: `others` names it.
    """
    parts = _parts(data)
    others = list(parts.others)
    sets = _iim(parts, others)
    exif = _exif(parts, others)
    xmp = _xmp(parts, others)
    return ReadBack(
        parts.format,
        parts.size,
        _digest(parts),
        parts.icc_profile,
        parts.ppi,
        exif,
        xmp,
        sets.values,
        sets.digest,
        tuple(dict.fromkeys(others)),
        parts.channels,
    )


def picture_digest(data: bytes) -> str:
    """Return the SHA-256 over all that decides the pixels of a file but its ICC profile; ValueError as `read_back`.

    Two files with one digest show the same picture, bit for bit, whatever else was written into them.
    """
    return _digest(_parts(data))


def _parts(data: bytes) -> Parts:
    if data.startswith(b"\xff\xd8"):
        return jpeg.parts(data)
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return png.parts(data)
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return webp.parts(data)
    if data.startswith((b"II*\0", b"MM\0*")):
        return tiff.parts(data)
    if data[4:8] == b"ftyp" and (b"avif" in data[8:64] or b"mif1" in data[8:64]):
        return avif.parts(data)
    raise ValueError("it is no JPEG, PNG, WebP, TIFF or AVIF file")


def _digest(parts: Parts) -> str:
    digest = hashlib.sha256(parts.format.encode())
    for part in parts.picture:
        digest.update(f"|{part.name}|{len(part.data)}|".encode())
        digest.update(part.data)
    return digest.hexdigest()


def _exif(parts: Parts, others: list[str]) -> dict[str, ExifValue]:
    if parts.exif is None:
        return {}
    try:
        directories = read_directories(parts.exif, "its Exif block")
        exif = named(directories, tiff.PICTURE_TAGS if parts.format == "tiff" else ())
    except ValueError as error:
        others.append(f"a broken Exif block ({error})")
        return {}
    others += directories.others
    return exif


def _xmp(parts: Parts, others: list[str]) -> dict[str, XmpValue]:
    from pipeline.deliver.verify.properties import read_properties  # noqa: PLC0415 (a digest needs no XML)

    properties: dict[str, XmpValue] = {}
    for packet in parts.xmp:
        try:
            found, notes = read_properties(packet)
        except ValueError as error:
            others.append(f"a broken XMP packet ({error})")
            continue
        properties |= found
        others += notes
    if len(parts.xmp) > 1:
        properties.pop("xmpNote:HasExtendedXMP", None)  # the note by which the two packets find each other
    return properties


def _iim(parts: Parts, others: list[str]) -> Datasets:
    try:
        sets = read_datasets(parts.resources, parts.iim)
    except ValueError as error:
        others.append(f"broken IIM ({error})")
        return Datasets({}, "absent", ())
    others += sets.others
    return sets
