"""The Exif block of a delivered picture, built from an allow-list: nothing of a frame's own block is copied.

Sources: CIPA DC-008 (tags, types, date format), TIFF 6.0 (resolution), XMP Specification Part 3 (2020) 3.2.3 (UTF-8
bytes in ASCII strings, several names joined by "; "), Metadata Working Group 2.0 (quotes around a name that holds
the separator; from memory). Never written: position, serial numbers, owner, maker note, thumbnail, software, unique
identifiers. Exif 2.32 has no place for the other facts: a title came with 3.0, and ratings and keywords are a
vendor's tags.
"""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

import piexif
from piexif import ExifIFD, ImageIFD

from pipeline.render.containers.ifd import read_exif, write_exif
from pipeline.render.dates import moment, offset_of
from pipeline.render.stated import stated

if TYPE_CHECKING:
    from pipeline.frames.header import CameraFacts
    from pipeline.light.box import Size
    from pipeline.plan.facts import PictureFacts, Policy

_Value = bytes | int | tuple[int, int]
_Tags = dict[int, _Value]

_UPRIGHT, _INCH, _SRGB, _UNCALIBRATED = 1, 2, 1, 0xFFFF
_EXIF_VERSION = b"0232"  # 2.32; the offsets of times came with 2.31
_JPEG_PREFIX = b"Exif\0\0"
_LONG_LIMIT = (1 << 32) - 1
_SHORT_LIMIT = (1 << 16) - 1
_PPI_DENOMINATOR = 10_000
_SEPARATOR, _QUOTE = "; ", '"'


@lru_cache(maxsize=16)  # the files of a frame say the same
def exif_block(
    facts: PictureFacts, policy: Policy, camera: CameraFacts | None, size: Size, ppi: float, *, srgb: bool
) -> bytes:
    """Return the block, beginning with the TIFF header ("MM"), for a picture of `size` pixels at `ppi`.

    `srgb` says whether the pixels are sRGB (ColorSpace 1) or anything else (0xFFFF). The policy "full" adds
    make, model, lens, exposure, f-number, ISO and focal length as far as `camera` has them. The time is that
    of `facts.date_created`; a date alone is not written, Exif has no form for it.
    ValueError for words that no file can carry (see `stated`), camera facts with NUL, a date that is not ISO 8601,
    and a resolution outside 1..65535.
    """
    facts = stated(facts, policy)
    if not 1 <= ppi <= _SHORT_LIMIT:
        raise ValueError(f"a resolution of {ppi} ppi cannot be written; 1 to {_SHORT_LIMIT} can")
    resolution = _rational(Fraction(ppi).limit_denominator(_PPI_DENOMINATOR))
    first: _Tags = {
        ImageIFD.Orientation: _UPRIGHT,
        ImageIFD.XResolution: resolution,
        ImageIFD.YResolution: resolution,
        ImageIFD.ResolutionUnit: _INCH,
        **_text(ImageIFD.ImageDescription, facts.description),
        **_text(ImageIFD.Artist, _SEPARATOR.join(_quoted(name) for name in facts.creators if name)),
        **_text(ImageIFD.Copyright, facts.copyright),
    }
    second: _Tags = {
        ExifIFD.ExifVersion: _EXIF_VERSION,
        ExifIFD.ColorSpace: _SRGB if srgb else _UNCALIBRATED,
        ExifIFD.PixelXDimension: size.width,
        ExifIFD.PixelYDimension: size.height,
        **_time(facts.date_created),
    }
    if policy == "full" and camera is not None:
        first |= _text(ImageIFD.Make, camera.make) | _text(ImageIFD.Model, camera.model)
        second |= _exposure(camera)
    block: bytes = piexif.dump({"0th": first, "Exif": second})
    # piexif sets values at odd offsets and no end behind the Exif directory; the layout of TIFF 6.0 wants both.
    return write_exif(read_exif(block.removeprefix(_JPEG_PREFIX)))


def _text(tag: int, text: str | None) -> _Tags:
    """Return the tag with its UTF-8 bytes, or no tag for no text (piexif cannot take None)."""
    if not text:
        return {}
    if "\0" in text:
        raise ValueError("a text for Exif holds a NUL character, which would end it there")
    return {tag: text.encode("utf-8")}


def _quoted(name: str) -> str:
    """Return a name as an item of a list of names: in quotes, its own doubled, where it could be taken for several."""
    if name.startswith(_QUOTE) or _SEPARATOR in name:
        return _QUOTE + name.replace(_QUOTE, 2 * _QUOTE) + _QUOTE
    return name


def _time(date_created: str | None) -> _Tags:
    """Return when the picture was taken, local time, with its offset and parts of a second where they are known."""
    taken = moment(date_created) if date_created else None
    if not isinstance(taken, datetime):
        return {}
    tags: _Tags = {ExifIFD.DateTimeOriginal: f"{taken:%Y:%m:%d %H:%M:%S}".encode()}
    if taken.utcoffset() is not None:
        tags[ExifIFD.OffsetTimeOriginal] = offset_of(taken).encode()
    if taken.microsecond:
        tags[ExifIFD.SubSecTimeOriginal] = f"{taken.microsecond:06}".rstrip("0").encode()
    return tags


def _exposure(camera: CameraFacts) -> _Tags:
    """Return how the picture was taken, as far as it is known and Exif can hold it."""
    tags = _text(ExifIFD.LensModel, camera.lens)
    for tag, value in (
        (ExifIFD.ExposureTime, camera.exposure_s),
        (ExifIFD.FNumber, camera.f_number),
        (ExifIFD.FocalLength, camera.focal_mm),
    ):
        if value is not None and Fraction(1, _LONG_LIMIT) <= value <= _LONG_LIMIT:
            tags[tag] = _rational(value)
    if camera.iso is not None and camera.iso > 0:
        tags[ExifIFD.ISOSpeedRatings] = min(camera.iso, _SHORT_LIMIT)  # 65535 means "that or more" (DC-008 4.6.5)
    return tags


def _rational(value: Fraction) -> tuple[int, int]:
    """Return numerator and denominator, both of 32 bits."""
    near = value.limit_denominator(_LONG_LIMIT // max(1, -(-value.numerator // value.denominator)))
    return near.numerator, near.denominator
