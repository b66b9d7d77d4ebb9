"""TIFF: metadata in the tags of the one directory, Exif in a directory of its own.

Sources: TIFF 6.0; XMP Specification Part 3 (2020) Table 12 (tag 700 as BYTE) and 3.3.2 (IIM in tag 33723, image
resources in tag 34377); ICC.1 Annex B (tag 34675); CIPA DC-008 4.6.3 (tag 34665). The file is laid out anew (header,
directory, values, Exif directory, picture data), so equal facts give equal bytes whatever was in the file before.

IIM stands in tag 33723 alone, and the image resources hold its digest alone: of two copies one would be out of place
for readers that hold to the guidelines. Its type is UNDEFINED; as LONG, which some writers use, readers turn its bytes
around in a big-endian file.
"""

from __future__ import annotations

from dataclasses import dataclass

from pipeline.render.containers.cursor import Cursor
from pipeline.render.containers.ifd import (
    BYTE,
    EXIF_IFD,
    HEADER_BYTES,
    UNDEFINED,
    ByteOrder,
    Entry,
    even,
    longs,
    read_directory,
    read_exif,
    read_header,
    write_directory,
    write_header,
)
from pipeline.render.containers.image_resources import digest_resource

XMP, IIM, RESOURCES, ICC = 700, 33723, 34377, 34675
_STRIP_OFFSETS, _STRIP_BYTES, _TILE_OFFSETS, _TILE_BYTES = 273, 279, 324, 325
# What decides pixels. TIFF 6.0: 254 NewSubfileType, 256 ImageWidth, 257 ImageLength, 258 BitsPerSample,
# 259 Compression, 262 PhotometricInterpretation, 266 FillOrder, 277 SamplesPerPixel, 278 RowsPerStrip,
# 284 PlanarConfiguration, 301 TransferFunction, 317 Predictor, 318 WhitePoint, 319 PrimaryChromaticities, 320 ColorMap,
# 322 TileWidth, 323 TileLength, 332 InkSet, 334 NumberOfInks, 336 DotRange, 338 ExtraSamples, 339 SampleFormat,
# 340 and 341 the range of samples, 347 JPEGTables (Technical Note 2), 529 to 532 YCbCr.
_PICTURE_TAGS = frozenset(
    {254, 256, 257, 258, 259, 262, 266, 277, 278, 284, 301, 317, 318, 319, 320, 322, 323}
    | {332, 334, 336, 338, 339, 340, 341, 347, 529, 530, 531, 532, ICC}
)
_DATA_TAGS = frozenset({_STRIP_OFFSETS, _STRIP_BYTES, _TILE_OFFSETS, _TILE_BYTES})
# What the Exif block says in its first directory: 270 ImageDescription, 271 Make, 272 Model, 274 Orientation,
# 282/283/296 resolution, 315 Artist, 33432 Copyright.
_FACT_TAGS = frozenset({270, 271, 272, 274, 282, 283, 296, 315, 33432})
# What Exif states of compressed files only (DC-008 4.6.8, support levels): 0x9101 ComponentsConfiguration,
# 0x9102 CompressedBitsPerPixel, 0xA002/0xA003 PixelXDimension/PixelYDimension (here ImageWidth and ImageLength say it).
_COMPRESSED_ONLY = frozenset({0x9101, 0x9102, 0xA002, 0xA003})
_FLASHPIX = 0xA000
_OLD_JPEG = 6


@dataclass(frozen=True, slots=True)
class _Parts:
    """What is kept of a TIFF file: the tags that decide pixels, and each strip or tile."""

    order: ByteOrder
    tags: dict[int, Entry]
    offsets_tag: int
    bytes_tag: int
    pieces: tuple[bytes, ...]


def rewrite(encoded: bytes, exif: bytes, xmp: bytes, iim: bytes) -> bytes:
    """Return the file with this metadata and no other.

    The byte order stays that of the file, because samples of more than eight bits are stored in it. ValueError
    for data that is not a whole classic TIFF file with one picture.
    """
    parts = _parts(encoded)
    block = read_exif(exif)
    facts = {tag: entry for tag, entry in block.first.items() if tag in _FACT_TAGS}
    exif_facts = {tag: entry for tag, entry in block.second.items() if tag not in _COMPRESSED_ONLY}
    exif_facts[_FLASHPIX] = Entry(_FLASHPIX, UNDEFINED, b"0100")
    sizes = tuple(len(piece) for piece in parts.pieces)
    tags = parts.tags | facts | {XMP: Entry(XMP, BYTE, xmp), parts.bytes_tag: longs(parts.bytes_tag, sizes)}
    if iim:
        tags |= {IIM: Entry(IIM, UNDEFINED, iim), RESOURCES: Entry(RESOURCES, BYTE, digest_resource(iim))}

    def directory(exif_at: int, offsets: tuple[int, ...]) -> bytes:
        placed = {EXIF_IFD: longs(EXIF_IFD, (exif_at,)), parts.offsets_tag: longs(parts.offsets_tag, offsets)}
        return write_directory(tags | placed, parts.order, HEADER_BYTES)

    exif_at = HEADER_BYTES + len(directory(0, (0,) * len(sizes)))
    exif_directory = write_directory(exif_facts, parts.order, exif_at)
    place = exif_at + len(exif_directory)
    offsets = []
    for size in sizes:
        offsets.append(place)
        place += size + size % 2
    if place >= 1 << 32:
        raise ValueError("the file would be larger than classic TIFF can be (4 GiB)")
    return b"".join(
        (
            write_header(parts.order, HEADER_BYTES),
            directory(exif_at, tuple(offsets)),
            exif_directory,
            *(even(piece) for piece in parts.pieces),
        )
    )


def picture_data(encoded: bytes) -> bytes:
    """Return the strips or tiles, one behind the other."""
    return b"".join(_parts(encoded).pieces)


def _parts(encoded: bytes) -> _Parts:
    """Take the file apart."""
    order, offset = read_header(encoded, "the TIFF file")
    tags, following = read_directory(encoded, order, offset, _PICTURE_TAGS | _DATA_TAGS, "the TIFF file")
    if following:
        raise ValueError("the TIFF file holds more than one picture; only a file of one can be rewritten")
    if 259 in tags and tags[259].numbers[:1] == (_OLD_JPEG,):
        raise ValueError("the TIFF file uses the old JPEG compression (6), whose data lies in other tags")
    for offsets_tag, bytes_tag in ((_STRIP_OFFSETS, _STRIP_BYTES), (_TILE_OFFSETS, _TILE_BYTES)):
        if offsets_tag in tags and bytes_tag in tags:
            break
    else:
        raise ValueError("the TIFF file has neither strips nor tiles")
    starts, sizes = tags[offsets_tag].numbers, tags[bytes_tag].numbers
    if len(starts) != len(sizes) or not sizes or sum(sizes) > len(encoded):
        raise ValueError("the TIFF file's strips or tiles do not fit its size")
    pieces = tuple(
        Cursor(encoded, "the TIFF file", at=start).take(size) for start, size in zip(starts, sizes, strict=True)
    )
    kept = {tag: entry for tag, entry in tags.items() if tag not in _DATA_TAGS}
    return _Parts(order, kept, offsets_tag, bytes_tag, pieces)
