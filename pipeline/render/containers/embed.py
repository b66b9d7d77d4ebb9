"""One way into every container: all metadata replaced, the ICC profile and the picture data untouched."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, assert_never

from pipeline.render.containers import avif, jpeg, png, tiff, webp
from pipeline.render.containers.ifd import read_exif

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat

_X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT, _INCH = 282, 283, 296, 2
_IIM_DATASET = b"\x1c"
_PPI_TOLERANCE = Fraction(1, 100)


@dataclass(frozen=True, slots=True)
class Embedded:
    """What is written into a file.

    `exif` is a block that begins with a TIFF header, `xmp` a whole packet of any length, `iim` a block of IIM datasets
    (JPEG and TIFF have a place for it, the other formats leave it out), `ppi` pixels per inch (1..65535). The
    Exif block states the same resolution.
    """

    exif: bytes
    xmp: bytes
    iim: bytes
    ppi: float


def embed(encoded: bytes, format: OutputFormat, embedded: Embedded) -> bytes:  # noqa: A002 (the word for it)
    """Return the encoded picture with this metadata and no other.

    Exif, XMP, IIM, comments and text of the input are gone; ICC profile and compressed picture data are the
    same bytes. What was embedded before leaves no trace: `embed(embed(x, f, a), f, b) == embed(x, f, b)`.
    ValueError, in one sentence, where the data is cut short or not what `format` says, where it holds what
    cannot be kept safely, and where the metadata does not fit the container or contradicts itself.
    """
    _check(embedded)
    exif, xmp, iim = embedded.exif, embedded.xmp, embedded.iim
    match format:
        case "jpeg":
            return jpeg.rewrite(encoded, exif, xmp, iim, embedded.ppi)
        case "png":
            return png.rewrite(encoded, exif, xmp, embedded.ppi)
        case "webp":
            return webp.rewrite(encoded, exif, xmp)
        case "tiff":
            return tiff.rewrite(encoded, exif, xmp, iim)
        case "avif":
            return avif.rewrite(encoded, exif, xmp)
        case _:
            assert_never(format)


def picture_data(encoded: bytes, format: OutputFormat) -> bytes:  # noqa: A002 (as above)
    """Return the compressed picture data alone, for digests: what `embed` never changes, without metadata and profile.

    JPEG: tables, frame header, scans (and the Adobe segment that names the colour transform). PNG: the bodies
    of IHDR, PLTE, tRNS, IDAT. WebP: alpha and picture bit streams. TIFF: strips or tiles. AVIF: the data of
    the items the picture is made of. ValueError as from `embed`.
    """
    match format:
        case "jpeg":
            return jpeg.picture_data(encoded)
        case "png":
            return png.picture_data(encoded)
        case "webp":
            return webp.picture_data(encoded)
        case "tiff":
            return tiff.picture_data(encoded)
        case "avif":
            return avif.picture_data(encoded)
        case _:
            assert_never(format)


def _check(embedded: Embedded) -> None:
    """Refuse metadata that no reader could read, that is private, or that gives two resolutions."""
    if not embedded.xmp:
        raise ValueError("the XMP packet is empty")
    if embedded.iim and not embedded.iim.startswith(_IIM_DATASET):
        raise ValueError("the IIM block does not begin with a dataset")
    if not 1 <= embedded.ppi <= 65535:
        raise ValueError(f"a resolution of {embedded.ppi} ppi cannot be written; 1 to 65535 can")
    entries = read_exif(embedded.exif).first
    stated = [entries[tag].numbers if tag in entries else () for tag in (_X_RESOLUTION, _Y_RESOLUTION)]
    unit = entries[_RESOLUTION_UNIT].numbers if _RESOLUTION_UNIT in entries else ()
    agrees = unit == (_INCH,) and all(
        len(numbers) == 2 and numbers[1] and abs(Fraction(*numbers) - Fraction(embedded.ppi)) < _PPI_TOLERANCE
        for numbers in stated
    )
    if not agrees:
        raise ValueError(f"the Exif block does not state the resolution of {embedded.ppi:g} ppi that is to be written")
