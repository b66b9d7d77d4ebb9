"""Makers of small frames for the tests of this room, each with a library that the code under test does not use."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING, Any

import imagecodecs
import numpy as np
import piexif
import pillow_heif
import tifffile
from pidng.core import RAW2DNG, DNGTags, Tag
from pidng.defs import CalibrationIlluminant, CFAPattern, DNGVersion, PhotometricInterpretation
from PIL import Image

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    from pipeline.faults import FrameUnreadable

LIMIT = 200_000_000
BLACK, WHITE = 1024, 61440
WHITE_BALANCE = (2.0, 1.0, 1.5)  # as-shot gains of the invented camera

# Source: IEC 61966-2-1, XYZ (D65) to linear sRGB; so the invented camera sees linear sRGB over its gains.
COLOUR_MATRIX = (3.240454, -1.537138, -0.498531, -0.969266, 1.876010, 0.041556, 0.055643, -0.204025, 1.057225)

PALETTE = {
    "R": (220, 30, 30),
    "G": (30, 180, 60),
    "B": (40, 60, 200),
    "Y": (230, 210, 40),
    "W": (255, 255, 255),
    "K": (0, 0, 0),
    "m": (128, 128, 128),
}
# An "F" with a coloured corner: no two of the eight orientations look the same.
LETTER = "RKKKW KWWWW KKKWW KWWWW KWWWB KWWWB GWWWY"


def letters(picture: str, block: int = 1) -> NDArray[np.uint8]:
    """Return (h, w, 3) uint8 of rows of letters, each letter a square of `block` pixels."""
    rows = [[PALETTE[letter] for letter in row] for row in picture.split()]
    return np.array(rows, np.uint8).repeat(block, axis=0).repeat(block, axis=1)


def turned(stored: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return the upright array of a stored one. Source: CIPA DC-008 tag 0x0112, as numpy operations."""
    across, down = stored[:, ::-1], stored[::-1]
    upright: NDArray[Any] = {
        1: stored,
        2: across,
        3: down[:, ::-1],
        4: down,
        5: stored.swapaxes(0, 1),
        6: np.rot90(stored, -1),
        7: down[:, ::-1].swapaxes(0, 1),
        8: np.rot90(stored, 1),
    }[orientation]
    return upright


def noise(height: int = 48, width: int = 64, bands: int = 3, dtype: Any = np.uint8) -> NDArray[Any]:  # noqa: ANN401
    """Return repeatable random pixels, which no codec can shrink to nothing."""
    top = np.iinfo(dtype).max
    shape = (height, width) if bands == 1 else (height, width, bands)
    return np.random.default_rng(7).integers(0, top, shape, dtype, endpoint=True)


def encoded(pixels: NDArray[Any], kind: str, **settings: Any) -> bytes:  # noqa: ANN401
    """Return the bytes Pillow writes."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind, **settings)
    return out.getvalue()


def heic(
    pixels: NDArray[Any],
    mode: str = "RGB",
    *,
    orientation: int | None = None,
    info: dict[str, Any] | None = None,
    **settings: Any,  # noqa: ANN401
) -> bytes:
    """Return a lossless HEIC made by libheif: turned both by its container and by its Exif, as phones write it.

    `info` is what goes in beside the pixels ("exif", "xmp", "icc_profile"), `settings` are libheif's.
    """
    height, width = pixels.shape[:2]
    image = pillow_heif.from_bytes(mode=mode, size=(width, height), data=np.ascontiguousarray(pixels).tobytes())
    image.info.update(info or {})
    if orientation is not None:
        image.info["exif"] = piexif.dump({"0th": {piexif.ImageIFD.Orientation: orientation}})
    out = io.BytesIO()
    lossless = {"quality": -1, "chroma": 444, "matrix_coefficients": 0} if mode.startswith("RGB") else {"quality": -1}
    image.save(out, **(lossless | settings))
    return out.getvalue()


def put(folder: Path, name: str, data: bytes) -> Path:
    """Write bytes and return the path."""
    path = folder / name
    path.write_bytes(data)
    return path


def sentence(error: FrameUnreadable) -> str:
    """Return the sentence and check the form that every one has: one line, starting with the name in the job."""
    text = str(error)
    assert text == f"{error.fault.file}: {error.fault.found}; {error.fault.wanted}"
    assert "\n" not in text
    assert "ips" not in text.replace("clips", "").replace("strips", ""), "words of the library reached the person"
    return text


def mosaic(scene: NDArray[np.float64], gains: tuple[float, float, float] = WHITE_BALANCE) -> NDArray[np.uint16]:
    """Return RGGB sensor levels of linear sRGB (h, w, 3), 0..1, behind the invented camera's filters."""
    light = scene / np.array(gains)
    levels = np.empty(scene.shape[:2])
    for row, column, band in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        levels[row::2, column::2] = light[row::2, column::2, band]
    return np.minimum(np.round(BLACK + levels * (WHITE - BLACK)), 65535).astype(np.uint16)


def dng(
    levels: NDArray[np.uint16],
    *,
    orientation: int = 1,
    white_level: int = WHITE,
    matrix: tuple[float, ...] = COLOUR_MATRIX,
    gains: tuple[float, ...] = WHITE_BALANCE,
) -> bytes:
    """Return a DNG made by pidng of sensor levels in RGGB order; `gains` are one over its as-shot neutral."""
    height, width = levels.shape
    tags = DNGTags()
    for tag, value in (
        (Tag.ImageWidth, width),
        (Tag.ImageLength, height),
        (Tag.TileWidth, width),
        (Tag.TileLength, height),
        (Tag.Orientation, orientation),
        (Tag.PhotometricInterpretation, PhotometricInterpretation.Color_Filter_Array),
        (Tag.SamplesPerPixel, 1),
        (Tag.BitsPerSample, 16),
        (Tag.CFARepeatPatternDim, [2, 2]),
        (Tag.CFAPattern, CFAPattern.RGGB),
        (Tag.BlackLevel, BLACK),
        (Tag.WhiteLevel, white_level),
        (Tag.ColorMatrix1, [[round(value * 1_000_000), 1_000_000] for value in matrix]),
        (Tag.CalibrationIlluminant1, CalibrationIlluminant.D65),
        (Tag.AsShotNeutral, [[1_000_000, round(gain * 1_000_000)] for gain in gains]),
        (Tag.Make, "Invented"),
        (Tag.Model, "Plate One"),
        (Tag.DNGVersion, DNGVersion.V1_4),
        (Tag.DNGBackwardVersion, DNGVersion.V1_2),
    ):
        tags.set(tag, value)
    maker = RAW2DNG()
    maker.options(tags, path="", compress=False)
    return bytes(maker.convert(levels))


def dng_with_thumbnail(levels: NDArray[np.uint16], path: Path, *, dng_version: bool = True) -> Path:
    """Write by tifffile a raw as cameras lay it out: a small RGB preview first, the sensor data in a SubIFD."""
    neutral = tuple(number for gain in WHITE_BALANCE for number in (1_000_000, round(gain * 1_000_000)))
    matrix = tuple(number for value in COLOUR_MATRIX for number in (round(value * 1_000_000), 1_000_000))
    colour = [(50721, 10, 9, matrix, True), (50728, 5, 3, neutral, True), (50778, 3, 1, 21, True)]
    version = [(50706, 1, 4, bytes([1, 4, 0, 0]), True)] if dng_version else []
    sensor = [(33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes([0, 1, 1, 2]), True)]
    levels_tags = [(50714, 3, 1, BLACK, True), (50717, 3, 1, WHITE, True)]
    with tifffile.TiffWriter(path) as writer:
        writer.write(
            np.full((24, 32, 3), 128, np.uint8), photometric="rgb", subfiletype=1, subifds=1, extratags=version + colour
        )
        writer.write(levels, photometric=32803, subfiletype=0, extratags=sensor + levels_tags)
    return path


def dng_in_tiles(levels: NDArray[np.uint16], side: int) -> bytes:
    """Return a DNG as cameras pack it, made by imagecodecs and tifffile: square tiles, each a lossless JPEG."""
    neutral = tuple(number for gain in WHITE_BALANCE for number in (1_000_000, round(gain * 1_000_000)))
    matrix = tuple(number for value in COLOUR_MATRIX for number in (round(value * 1_000_000), 1_000_000))
    tags = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50721, 10, 9, matrix, True),
        (50728, 5, 3, neutral, True),
        (50778, 3, 1, 21, True),
        (33421, 3, 2, (2, 2), True),
        (33422, 1, 4, bytes([0, 1, 1, 2]), True),
        (50714, 3, 1, BLACK, True),
        (50717, 3, 1, WHITE, True),
    ]
    height, width = levels.shape
    corners = [(top, left) for top in range(0, height, side) for left in range(0, width, side)]
    tiles = [np.ascontiguousarray(levels[top : top + side, left : left + side]) for top, left in corners]
    packed = iter([imagecodecs.ljpeg_encode(tile, bitspersample=16) for tile in tiles])
    out = io.BytesIO()
    layout = {"shape": levels.shape, "dtype": np.uint16, "tile": (side, side), "compression": 7}
    tifffile.imwrite(out, packed, photometric=32803, extratags=tags, **layout)
    return out.getvalue()


def tiff_of(fields: list[tuple[int, int, int, int]], *, following: int = 0, tail: bytes = b"") -> bytes:
    """Return a little-endian TIFF with one directory of inline fields (tag, type, count, value)."""
    table = b"".join(struct.pack("<HHII", *field) for field in sorted(fields))
    return b"II*\0" + struct.pack("<IH", 8, len(fields)) + table + struct.pack("<I", following) + tail


def png_chunk(kind: bytes, data: bytes) -> bytes:
    """Return a PNG chunk with its check sum."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def with_chunk(png: bytes, kind: bytes, data: bytes) -> bytes:
    """Return the PNG with a chunk right after IHDR (signature 8 bytes, IHDR 25)."""
    return png[:33] + png_chunk(kind, data) + png[33:]
