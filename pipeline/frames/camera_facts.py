"""How a frame was taken, from its Exif; hostile or broken Exif gives fewer facts and never an error.

Of private facts (position, serial numbers, owner names) only their presence is noted.
Sources: [EXIF3] CIPA DC-008 tags; TIFF/EP puts some of them in the first directory (from memory).
"""

from __future__ import annotations

import io
import re
from datetime import datetime
from typing import TYPE_CHECKING

from pipeline.frames.header import CameraFacts
from pipeline.frames.tiff import Directory, Entry, Tiff, open_tiff

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from fractions import Fraction

MAKE, MODEL, ORIENTATION = 0x010F, 0x0110, 0x0112
EXIF_IFD, GPS_IFD, INTEROP_IFD = 0x8769, 0x8825, 0xA005
EXPOSURE_TIME, F_NUMBER, FOCAL_LENGTH, LENS_MODEL = 0x829A, 0x829D, 0x920A, 0xA434
SUBJECT_DISTANCE, FOCAL_LENGTH_35 = 0x9206, 0xA405
SENSITIVITY, OUTPUT_SENSITIVITY, EXPOSURE_INDEX = 0x8827, 0x8831, 0x8832
TAKEN, TAKEN_OFFSET = 0x9003, 0x9011
# CameraOwnerName, BodySerialNumber, LensSerialNumber, ImageUniqueID; CameraSerialNumber of DNG.
SERIALS = (0xA430, 0xA431, 0xA435, 0xA420, 0xC62F)
GPS_VERSION = 0

TEXT_LIMIT = 200
UNKNOWN = 0xFFFFFFFF
OFFSET_FORM = re.compile(r"[+-](0\d|1[0-4]):[0-5]\d")

Source = tuple[Tiff, Directory]


def camera_facts(exif: bytes | None) -> CameraFacts:
    """Return the facts of an Exif block (with or without its "Exif" NUL NUL prefix); never raises."""
    tiff = open_block(exif)
    return tiff_facts(tiff) if tiff else CameraFacts()


def tiff_facts(tiff: Tiff) -> CameraFacts:
    """Return the facts of a TIFF structure: a frame, a raw, or an Exif block; never raises."""
    first = tiff.directory(tiff.first)
    if first is None:
        return CameraFacts()
    found = [(tiff, first)]
    if exif := _follow(tiff, first, EXIF_IFD):
        found.insert(0, (tiff, exif))
    return facts_of(found, position=_has_position(tiff, first))


def facts_of(sources: Sequence[Source], *, position: bool) -> CameraFacts:
    """Return the facts of several directories; where two have the same field the earlier one counts."""
    return CameraFacts(
        make=_text(sources, MAKE),
        model=_text(sources, MODEL),
        lens=_text(sources, LENS_MODEL),
        exposure_s=_positive(sources, EXPOSURE_TIME),
        f_number=_positive(sources, F_NUMBER),
        iso=_sensitivity(sources),
        focal_mm=_positive(sources, FOCAL_LENGTH),
        taken=_taken(_text(sources, TAKEN), _text(sources, TAKEN_OFFSET)),
        position=position,
        serials=any(_is_filled(tiff, entry) for tag in SERIALS for tiff, entry in _fields(sources, tag)),
        focal_35_mm=_focal_35(sources),
        distance_m=_positive(sources, SUBJECT_DISTANCE),
    )


def orientation(exif: bytes | None) -> int:
    """Return Exif orientation 1..8 of a block; 1 where it says nothing sensible."""
    tiff = open_block(exif)
    return tiff_orientation(tiff) if tiff else 1


def tiff_orientation(tiff: Tiff) -> int:
    """Return orientation 1..8 of a TIFF structure's first directory; 1 where it says nothing sensible."""
    first = tiff.directory(tiff.first)
    value = tiff.number(first.entries.get(ORIENTATION)) if first else None
    return value if value is not None and 1 <= value <= 8 else 1


def interoperability(exif: bytes | None) -> str | None:
    """Return the interoperability index of an Exif block ("R98", "R03"); None where there is none."""
    tiff = open_block(exif)
    first = tiff.directory(tiff.first) if tiff else None
    for tag in (EXIF_IFD, INTEROP_IFD):
        first = _follow(tiff, first, tag) if tiff and first else None
    return tiff.text(first.entries.get(1)) if tiff and first else None


def open_block(exif: bytes | None) -> Tiff | None:
    """Return the TIFF structure of an Exif block, with or without its "Exif" NUL NUL prefix; None if there is none."""
    return open_tiff(io.BytesIO(exif.removeprefix(b"Exif\0\0"))) if exif else None


def has_position(tiff: Tiff, directory: Directory) -> bool:
    """Return whether a GPS directory says more than its version."""
    return any(tag != GPS_VERSION and _is_filled(tiff, entry) for tag, entry in directory.entries.items())


def _has_position(tiff: Tiff, first: Directory) -> bool:
    gps = _follow(tiff, first, GPS_IFD)
    return gps is not None and has_position(tiff, gps)


def _follow(tiff: Tiff, directory: Directory, tag: int) -> Directory | None:
    offset = tiff.number(directory.entries.get(tag))
    return tiff.directory(offset) if offset else None


def _fields(sources: Sequence[Source], tag: int) -> Iterator[tuple[Tiff, Entry]]:
    return ((tiff, directory.entries[tag]) for tiff, directory in sources if tag in directory.entries)


def _is_filled(tiff: Tiff, entry: Entry) -> bool:
    return bool(tiff.data(entry).strip(b"\0 "))


def _text(sources: Sequence[Source], tag: int) -> str | None:
    return next((words[:TEXT_LIMIT] for tiff, entry in _fields(sources, tag) if (words := tiff.text(entry))), None)


def _positive(sources: Sequence[Source], tag: int) -> Fraction | None:
    """Return the first value above 0; FFFFFFFF stands for unknown."""
    for tiff, entry in _fields(sources, tag):
        value = tiff.fraction(entry)
        if value is not None and 0 < value < UNKNOWN:
            return value
    return None


def _focal_35(sources: Sequence[Source]) -> int | None:
    """Return the focal length on 36 x 24 mm in whole millimetres; 0 stands for unknown."""
    value = _positive(sources, FOCAL_LENGTH_35)
    return round(value) or None if value is not None else None


def _sensitivity(sources: Sequence[Source]) -> int | None:
    """Return ISO; above 65535 the old field is full and the newer ones have the number (CIPA DC-008 4.6.5)."""
    for tag in (SENSITIVITY, EXPOSURE_INDEX, OUTPUT_SENSITIVITY):
        for tiff, entry in _fields(sources, tag):
            value = tiff.number(entry)
            if value and value != 0xFFFF and 0 < value < UNKNOWN:
                return value
    return None


def _taken(moment: str | None, offset: str | None) -> str | None:
    """Return ISO 8601 of an Exif time ("2026:09:12 10:24:31") and offset; None where it is blank or no time."""
    try:
        when = datetime.strptime(moment or "", "%Y:%m:%d %H:%M:%S")  # noqa: DTZ007 (the offset is a field of its own)
    except ValueError:
        return None
    return when.isoformat() + (offset if offset and OFFSET_FORM.fullmatch(offset) else "")
