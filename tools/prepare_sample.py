"""Make the selects of sample_shoot/ from rendered frames.

    python tools/prepare_sample.py MATERIAL_FOLDER OUT_FOLDER

MATERIAL_FOLDER holds the ten frames as they were rendered: sRGB-encoded, no ICC profile, no Exif. OUT_FOLDER
gets what a photographer's card and desk would hold: tagged JPEGs in two spaces, one without a profile, one
stored on its side, one 16-bit TIFF in ROMM RGB and one camera raw (DNG), all with the facts a camera writes.
Every such fact is invented, down to a position in the open Atlantic; lens and aperture are true of the render.

For each file it prints bytes, SHA-256 and the mean and 95th percentile of CIEDE2000 against the rendered
frame, with the embedded profile honoured (or the raw developed with as-shot white balance). The same material
and the same versions of the libraries give the same bytes. Beside the project's test dependencies it needs
imagecodecs, for lossless JPEG (ITU-T T.81, process 14), which the DNG's pixels are packed with.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import struct
import zlib
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import colour
import imagecodecs
import numpy as np
import piexif
import pyvips
import rawpy
import tifffile
from numpy.typing import NDArray
from piexif import GPSIFD, ExifIFD, ImageIFD, InteropIFD
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, ROMM, SRGB

if TYPE_CHECKING:
    from collections.abc import Mapping

MAKE, MODEL, FIRMWARE = "Halden Optik", "HO-7", "HO-7 firmware 1.20"
OWNER, BODY_SERIAL = "Ines Falkenrath", "HO7-0041827"
DAY, OFFSET = "2026:09:12", "+02:00"
JPEG_QUALITY = 98

Form = Literal["srgb", "untagged", "on its side", "adobe", "romm tiff", "dng"]
Pixels = NDArray[Any]
Exif = dict[int, Any]


@dataclass(frozen=True, slots=True)
class Lens:
    """A lens of the invented maker: its name, its serial, shortest and longest focal length, widest aperture."""

    model: str
    serial: str
    focal_mm: tuple[int, int]
    f_number: Fraction


FIFTY = Lens("HO 50 mm f/1.8", "L50-20931", (50, 50), Fraction(18, 10))
EIGHTY_FIVE = Lens("HO 85 mm f/1.8", "L85-11702", (85, 85), Fraction(18, 10))
HUNDRED = Lens("HO 100 mm f/2", "L100-08816", (100, 100), Fraction(2))
CLOSE = Lens("HO 105 mm f/2.8 close-up", "L105-30054", (105, 105), Fraction(28, 10))
ZOOM = Lens("HO 24-80 mm f/2.8", "L2480-51377", (24, 80), Fraction(28, 10))


@dataclass(frozen=True, slots=True)
class Select:
    """One rendered frame and what becomes of it; `taken` is local time, `bias` exposure compensation in stops."""

    source: str
    name: str
    form: Form
    lens: Lens
    focal_mm: int
    f_number: Fraction
    exposure_s: Fraction
    iso: int
    taken: str
    bias: Fraction = Fraction(0)


# f/2.8, 1/80 s at ISO 200 is the light of that afternoon; the other exposures follow from it, faults apart.
SELECTS = (
    Select("ingredients.jpg", "ingredients.jpg", "srgb", FIFTY, 50, Fraction(8), Fraction(1, 10), 200, "14:05:12"),
    Select("tomatoes.jpg", "tomatoes.jpg", "adobe", HUNDRED, 100, Fraction(32, 10), Fraction(1, 60), 200, "14:21:40"),
    Select("overhead.tif", "overhead.tif", "romm tiff", FIFTY, 50, Fraction(8), Fraction(1, 10), 200, "15:31:54"),
    Select(
        "three_quarter.jpg", "three-quarter.jpg", "adobe",
        EIGHTY_FIVE, 85, Fraction(28, 10), Fraction(1, 80), 200, "15:36:27",
    ),
    Select(
        "missed_focus.jpg", "missed-focus.jpg", "srgb",
        HUNDRED, 100, Fraction(2), Fraction(1, 160), 200, "15:39:03",
    ),
    Select("close_up.jpg", "close-up.dng", "dng", CLOSE, 105, Fraction(28, 10), Fraction(1, 80), 200, "15:41:30"),
    Select("oil_pour.jpg", "oil-pour.jpg", "untagged", EIGHTY_FIVE, 85, Fraction(4), Fraction(1, 30), 200, "15:44:08"),
    Select(
        "portrait_bread.jpg", "portrait-bread.jpg", "on its side",
        ZOOM, 70, Fraction(4), Fraction(1, 40), 200, "15:49:51",
    ),
    Select(
        "overexposed.jpg", "overexposed.jpg", "srgb",
        ZOOM, 80, Fraction(35, 10), Fraction(1, 15), 200, "15:53:16", Fraction(5, 3),
    ),
    Select("warm_bulb.jpg", "warm-bulb.jpg", "srgb", ZOOM, 80, Fraction(28, 10), Fraction(1, 60), 1600, "18:12:44"),
)  # fmt: skip


# --- what the camera writes -------------------------------------------------------------------------------------------


def rational(value: Fraction) -> tuple[int, int]:
    """Return the pair that Exif stores."""
    return value.numerator, value.denominator


def camera_facts(select: Select, stored: tuple[int, int]) -> tuple[Exif, Exif, Exif]:
    """Return the invented Exif of a select as its 0th, Exif and GPS directories, keyed and typed as piexif does.

    `stored` is width and height of the stored pixels. The position is 45 N 30 W, in the open ocean, and its
    clock is UTC as Exif asks. The maker note and the picture's id are digests: opaque, and the same each time.
    """
    stamp = f"{DAY} {select.taken}"
    hour, minute, second = (int(part) for part in select.taken.split(":"))
    lens = select.lens
    main = {
        ImageIFD.Make: MAKE,
        ImageIFD.Model: MODEL,
        ImageIFD.Orientation: 6 if select.form == "on its side" else 1,
        ImageIFD.XResolution: (300, 1),
        ImageIFD.YResolution: (300, 1),
        ImageIFD.ResolutionUnit: 2,
        ImageIFD.Software: FIRMWARE,
        ImageIFD.DateTime: stamp,
    }
    in_jpeg = {
        ExifIFD.ComponentsConfiguration: b"\1\2\3\0",  # Y Cb Cr
        ExifIFD.PixelXDimension: stored[0],
        ExifIFD.PixelYDimension: stored[1],
    }
    exif = {
        ExifIFD.ExifVersion: b"0232",
        ExifIFD.ExposureTime: rational(select.exposure_s),
        ExifIFD.FNumber: rational(select.f_number),
        ExifIFD.ExposureProgram: 3,  # aperture priority
        ExifIFD.ISOSpeedRatings: select.iso,
        ExifIFD.DateTimeOriginal: stamp,
        ExifIFD.DateTimeDigitized: stamp,
        ExifIFD.OffsetTime: OFFSET,
        ExifIFD.OffsetTimeOriginal: OFFSET,
        ExifIFD.OffsetTimeDigitized: OFFSET,
        ExifIFD.SubSecTimeOriginal: f"{int(digest(select.name, 2).hex(), 16) % 100:02d}",
        ExifIFD.ExposureBiasValue: rational(select.bias),
        ExifIFD.MeteringMode: 5,
        ExifIFD.Flash: 16,  # off, and did not fire
        ExifIFD.FocalLength: (select.focal_mm, 1),
        ExifIFD.MakerNote: b"HALDEN\0\1" + digest(select.name + " maker note", 240),
        ExifIFD.ColorSpace: 1 if select.form in ("srgb", "untagged", "on its side") else 0xFFFF,
        ExifIFD.FlashpixVersion: b"0100",
        ExifIFD.WhiteBalance: 1 if select.name == "warm-bulb.jpg" else 0,  # set by hand to daylight: hence the cast
        ExifIFD.FocalLengthIn35mmFilm: select.focal_mm,
        ExifIFD.ImageUniqueID: digest(select.name + " id", 16).hex(),
        ExifIFD.CameraOwnerName: OWNER,
        ExifIFD.BodySerialNumber: BODY_SERIAL,
        ExifIFD.LensSpecification: (*((focal, 1) for focal in lens.focal_mm), *[rational(lens.f_number)] * 2),
        ExifIFD.LensMake: MAKE,
        ExifIFD.LensModel: lens.model,
        ExifIFD.LensSerialNumber: lens.serial,
    }
    if select.form not in ("romm tiff", "dng"):
        main[ImageIFD.YCbCrPositioning] = 1
        exif |= in_jpeg
    gps = {
        GPSIFD.GPSVersionID: (2, 3, 0, 0),
        GPSIFD.GPSLatitudeRef: "N",
        GPSIFD.GPSLatitude: ((45, 1), (0, 1), (0, 1)),
        GPSIFD.GPSLongitudeRef: "W",
        GPSIFD.GPSLongitude: ((30, 1), (0, 1), (0, 1)),
        GPSIFD.GPSAltitudeRef: 0,
        GPSIFD.GPSAltitude: (3, 1),
        GPSIFD.GPSTimeStamp: ((hour - int(OFFSET[:3]), 1), (minute, 1), (second, 1)),
        GPSIFD.GPSProcessingMethod: b"ASCII\0\0\0GPS",
        GPSIFD.GPSDateStamp: DAY,
    }
    return main, exif, gps


def digest(words: str, count: int) -> bytes:
    """Return `count` bytes that depend on the words alone."""
    return hashlib.shake_256(words.encode()).digest(count)


# --- pixels -----------------------------------------------------------------------------------------------------------


def read_render(path: Path) -> Pixels:
    """Return a rendered frame as (h, w, 3), encoded sRGB, 0..1 in float64."""
    if path.suffix == ".tif":
        return np.asarray(tifffile.imread(path)[..., :3] / 65535)
    return np.asarray(Image.open(path).convert("RGB")) / 255


def converted(render: Pixels, space: str) -> Pixels:
    """Return encoded sRGB (0..1) as encoded values (0..1) of another space by its name in colour-science."""
    linear = colour.RGB_to_RGB(render, "sRGB", space, "Bradford", apply_cctf_decoding=True)
    return np.asarray(colour.RGB_COLOURSPACES[space].cctf_encoding(np.clip(linear, 0, 1)))


def thumbnail(render: Pixels, width: int) -> Image.Image:
    """Return the frame at `width` pixels, 8-bit sRGB."""
    whole = Image.fromarray(np.round(render * 255).astype(np.uint8))
    return whole.resize((width, round(width * whole.height / whole.width)), Image.Resampling.LANCZOS)


# --- directories of TIFF 6.0, which Exif and DNG are made of ----------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Directory:
    """One image file directory of TIFF 6.0, with what hangs on it.

    `entries` are tag -> (type, values or bytes), `below` the directories a tag points to, `strips` picture data
    (`strip_tags` say where it is and how long), `then` the next directory of the chain.
    """

    entries: dict[int, tuple[int, Any]]
    below: Mapping[int, tuple[Directory, ...]] = field(default_factory=dict)
    strips: tuple[bytes, ...] = ()
    strip_tags: tuple[int, int] = (ImageIFD.StripOffsets, ImageIFD.StripByteCounts)
    then: Directory | None = None


BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, SRATIONAL = 1, 2, 3, 4, 5, 7, 10
LETTERS = {BYTE: "B", SHORT: "H", LONG: "L", RATIONAL: "LL", SRATIONAL: "ll"}


def value_bytes(kind: int, value: Any) -> tuple[int, bytes]:  # noqa: ANN401 (what Exif allows: number, text, pairs)
    """Return count and little-endian bytes of one entry's value."""
    if kind in (ASCII, UNDEFINED):
        data = value.encode("ascii") + b"\0" if isinstance(value, str) else bytes(value)
        return len(data), data
    values = np.ravel(value).tolist()
    letters = LETTERS[kind]
    count = len(values) // len(letters)
    return count, struct.pack("<" + letters * count, *values)


def typed(tags: Exif, table: str) -> dict[int, tuple[int, Any]]:
    """Return tags with their types beside their values; `table` names the table of piexif that knows them."""
    return {tag: (piexif.TAGS[table][tag]["type"], value) for tag, value in tags.items()}


def place(directory: Directory, buffer: bytearray, pictures: list[tuple[int, tuple[bytes, ...]]]) -> int:
    """Append a directory and all below it; return its offset. `pictures` collects where strip offsets must go."""
    entries = dict(directory.entries)
    entries |= {tag: (LONG, (0,) * len(children)) for tag, children in directory.below.items()}
    offsets, byte_counts = directory.strip_tags
    if directory.strips:
        entries[offsets] = (LONG, (0,) * len(directory.strips))
        entries[byte_counts] = (LONG, tuple(len(strip) for strip in directory.strips))
    offset = len(buffer)
    buffer += struct.pack("<H", len(entries)) + bytes(12 * len(entries) + 4)
    for index, (tag, (kind, value)) in enumerate(sorted(entries.items())):
        count, data = value_bytes(kind, value)
        at = offset + 2 + 12 * index
        struct.pack_into("<HHL", buffer, at, tag, kind, count)
        spot = at + 8
        if len(data) > 4:
            struct.pack_into("<L", buffer, spot, spot := len(buffer))
            buffer += data + bytes(len(data) % 2)
        else:
            buffer[spot : spot + len(data)] = data
        if tag in directory.below:
            places = [place(child, buffer, pictures) for child in directory.below[tag]]
            struct.pack_into(f"<{len(places)}L", buffer, spot, *places)
        elif tag == offsets:
            pictures.append((spot, directory.strips))
    if directory.then:
        struct.pack_into("<L", buffer, offset + 2 + 12 * len(entries), place(directory.then, buffer, pictures))
    return offset


def tiff_bytes(first: Directory) -> bytes:
    """Return a little-endian TIFF 6.0 file: all directories in front, then the picture data."""
    buffer = bytearray(struct.pack("<2sHL", b"II", 42, 8))
    pictures: list[tuple[int, tuple[bytes, ...]]] = []
    place(first, buffer, pictures)
    for spot, strips in pictures:
        for index, strip in enumerate(strips):
            struct.pack_into("<L", buffer, spot + 4 * index, len(buffer))
            buffer += strip + bytes(len(strip) % 2)
    return bytes(buffer)


# --- JPEG -------------------------------------------------------------------------------------------------------------


def encoded_jpeg(encoded: Pixels) -> bytes:
    """Return RGB values (0..1) as a 4:4:4 JPEG.

    Turned into YCbCr (ITU-T T.871) in float, so that they are rounded once and not twice.
    """
    weights = np.array([[0.299, 0.587, 0.114], [-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]])
    planes = np.round(encoded * 255 @ weights.T + [0, 128, 128])
    out = io.BytesIO()
    picture = Image.frombytes("YCbCr", encoded.shape[1::-1], np.clip(planes, 0, 255).astype(np.uint8).tobytes())
    picture.save(out, "JPEG", quality=JPEG_QUALITY, subsampling=0, optimize=True)
    return out.getvalue()


def laid_on_its_side(path: Path) -> bytes:
    """Return the JPEG turned a quarter to the left, as a camera held upright stores it.

    Its own quantisation tables turn with it, and YCbCr stays YCbCr: what is lost is rounding alone.
    """
    out = io.BytesIO()
    with JpegImageFile(path) as upright:
        tables = [np.array(table).reshape(8, 8).T.ravel().tolist() for _, table in sorted(upright.quantization.items())]
        upright.draft("YCbCr", upright.size)
        turned = upright.transpose(Image.Transpose.ROTATE_90)
    turned.save(out, "JPEG", qtables=tables, subsampling=0, optimize=True)
    return out.getvalue()


def segment(marker: int, data: bytes) -> bytes:
    """Return one marker segment of ITU-T T.81."""
    return struct.pack(">BBH", 0xFF, marker, len(data) + 2) + data


def dressed_jpeg(bare: bytes, exif: bytes, icc_profile: bytes | None) -> bytes:
    """Return the JPEG with Exif and profile in front and its other application segments left out."""
    head = b"\xff\xd8" + segment(0xE1, exif)
    if icc_profile is not None:
        head += segment(0xE2, b"ICC_PROFILE\0\1\1" + icc_profile)
    at = 2
    while 0xE0 <= bare[at + 1] <= 0xEF:
        at += 2 + int.from_bytes(bare[at + 2 : at + 4], "big")
    return head + bare[at:]


def make_jpeg(select: Select, source: Path) -> bytes:
    """Return a JPEG select; sRGB ones keep the render's own coded pixels."""
    render = read_render(source)
    if select.form == "adobe":
        bare, icc_profile = encoded_jpeg(converted(render, "Adobe RGB (1998)")), write_matrix_profile(ADOBE_RGB)
    else:
        bare = laid_on_its_side(source) if select.form == "on its side" else source.read_bytes()
        icc_profile = write_matrix_profile(SRGB)
    with Image.open(io.BytesIO(bare)) as stored:
        main, exif, gps = camera_facts(select, stored.size)
    small = io.BytesIO()
    lying = np.rot90(render) if select.form == "on its side" else render
    thumbnail(lying, 160).save(small, "JPEG", quality=80)
    interoperability = {InteropIFD.InteroperabilityIndex: "R03" if select.form == "adobe" else "R98"}
    below = {
        ImageIFD.ExifTag: (
            Directory(
                typed(exif, "Exif"), {ExifIFD.InteroperabilityTag: (Directory(typed(interoperability, "Interop")),)}
            ),
        ),
        ImageIFD.GPSTag: (Directory(typed(gps, "GPS")),),
    }
    shown_first = {
        ImageIFD.Compression: (SHORT, 6),
        ImageIFD.XResolution: (RATIONAL, (72, 1)),
        ImageIFD.YResolution: (RATIONAL, (72, 1)),
        ImageIFD.ResolutionUnit: (SHORT, 2),
    }
    jpeg_tags = (ImageIFD.JPEGInterchangeFormat, ImageIFD.JPEGInterchangeFormatLength)
    then = Directory(shown_first, strips=(small.getvalue(),), strip_tags=jpeg_tags)
    packed = b"Exif\0\0" + tiff_bytes(Directory(typed(main, "Image"), below, then=then))
    return dressed_jpeg(bare, packed, None if select.form == "untagged" else icc_profile)


# --- TIFF and DNG -----------------------------------------------------------------------------------------------------


def thumbnail_entries(render: Pixels, width: int) -> tuple[dict[int, tuple[int, Any]], bytes]:
    """Return the entries and the pixels of an uncompressed 8-bit RGB thumbnail."""
    small = thumbnail(render, width)
    entries = {
        ImageIFD.NewSubfileType: (LONG, 1),  # reduced resolution
        ImageIFD.ImageWidth: (LONG, small.width),
        ImageIFD.ImageLength: (LONG, small.height),
        ImageIFD.BitsPerSample: (SHORT, (8, 8, 8)),
        ImageIFD.Compression: (SHORT, 1),
        ImageIFD.PhotometricInterpretation: (SHORT, 2),
        ImageIFD.SamplesPerPixel: (SHORT, 3),
        ImageIFD.RowsPerStrip: (LONG, small.height),
    }
    return entries, small.tobytes()


def make_tiff(select: Select, source: Path) -> bytes:
    """Return the 16-bit ROMM RGB master: deflate with horizontal differencing, thumbnail in a directory below."""
    render = read_render(source)
    height, width, _ = render.shape
    values = np.round(converted(render, "ROMM RGB") * 65535).astype("<u2")
    values[:, 1:] -= values[:, :-1].copy()  # predictor 2: wraps at 16 bits, as TIFF 6.0 section 14 has it
    rows = 64
    strips = tuple(zlib.compress(values[top : top + rows].tobytes(), 9) for top in range(0, height, rows))
    main, exif, gps = camera_facts(select, (width, height))
    entries = {
        ImageIFD.NewSubfileType: (LONG, 0),
        ImageIFD.ImageWidth: (LONG, width),
        ImageIFD.ImageLength: (LONG, height),
        ImageIFD.BitsPerSample: (SHORT, (16, 16, 16)),
        ImageIFD.Compression: (SHORT, 8),
        ImageIFD.PhotometricInterpretation: (SHORT, 2),
        ImageIFD.SamplesPerPixel: (SHORT, 3),
        ImageIFD.RowsPerStrip: (LONG, rows),
        ImageIFD.PlanarConfiguration: (SHORT, 1),
        ImageIFD.Predictor: (SHORT, 2),
        ImageIFD.InterColorProfile: (UNDEFINED, write_matrix_profile(ROMM)),
    }
    small, small_pixels = thumbnail_entries(render, 160)
    below = {
        ImageIFD.SubIFDs: (Directory(small, strips=(small_pixels,)),),
        ImageIFD.ExifTag: (Directory(typed(exif, "Exif")),),
        ImageIFD.GPSTag: (Directory(typed(gps, "GPS")),),
    }
    return tiff_bytes(Directory(entries | typed(main, "Image"), below, strips))


# The invented sensor: each of its channels sees some of the others' light (rows sum to 1, so white stays white),
# and it answers daylight (D65) with these shares of its green. 14 bits, with a pedestal under black.
SENSOR = np.array([[0.70, 0.25, 0.05], [0.15, 0.75, 0.10], [0.05, 0.20, 0.75]])
NEUTRAL = (Fraction(48, 100), Fraction(1), Fraction(62, 100))
BITS, BLACK, WHITE = 14, 512, 16383
RGGB = ((0, 1), (1, 2))


def mosaic(render: Pixels) -> Pixels:
    """Return what the invented sensor records of encoded sRGB (0..1): (h, w) of uint16 in RGGB order."""
    seen = colour.models.eotf_sRGB(render) @ SENSOR.T * np.array(NEUTRAL, dtype=np.float64)
    levels = np.round(BLACK + seen * (WHITE - BLACK)).astype(np.uint16)
    pattern = np.empty(levels.shape[:2], np.uint16)
    for row, channels in enumerate(RGGB):
        for column, channel in enumerate(channels):
            pattern[row::2, column::2] = levels[row::2, column::2, channel]
    return pattern


def make_dng(select: Select, source: Path) -> bytes:
    """Return a DNG 1.4: a thumbnail in the first directory, the mosaic, losslessly compressed, in one below it."""
    render = read_render(source)
    height, width, _ = render.shape
    # Two rows of the mosaic make one row of the JPEG: the sample above is then of the same colour.
    packed = bytes(imagecodecs.ljpeg_encode(mosaic(render).reshape(height // 2, width * 2), bitspersample=BITS))
    to_sensor = np.diag([float(share) for share in NEUTRAL]) @ SENSOR
    from_xyz = to_sensor @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB
    raw: dict[int, tuple[int, Any]] = {
        ImageIFD.NewSubfileType: (LONG, 0),
        ImageIFD.ImageWidth: (LONG, width),
        ImageIFD.ImageLength: (LONG, height),
        ImageIFD.BitsPerSample: (SHORT, BITS),
        ImageIFD.Compression: (SHORT, 7),
        ImageIFD.PhotometricInterpretation: (SHORT, 32803),  # colour filter array
        ImageIFD.SamplesPerPixel: (SHORT, 1),
        ImageIFD.RowsPerStrip: (LONG, height),
        ImageIFD.PlanarConfiguration: (SHORT, 1),
        ImageIFD.CFARepeatPatternDim: (SHORT, (2, 2)),
        ImageIFD.CFAPattern: (BYTE, RGGB),
        ImageIFD.CFAPlaneColor: (BYTE, (0, 1, 2)),
        ImageIFD.CFALayout: (SHORT, 1),
        ImageIFD.BlackLevel: (SHORT, BLACK),
        ImageIFD.WhiteLevel: (SHORT, WHITE),
        ImageIFD.DefaultCropOrigin: (LONG, (0, 0)),
        ImageIFD.DefaultCropSize: (LONG, (width, height)),
    }
    camera = {
        ImageIFD.DNGVersion: (BYTE, (1, 4, 0, 0)),
        ImageIFD.DNGBackwardVersion: (BYTE, (1, 1, 0, 0)),
        ImageIFD.UniqueCameraModel: (ASCII, f"{MAKE} {MODEL}"),
        ImageIFD.ColorMatrix1: (SRATIONAL, [(round(value * 10000), 10000) for value in from_xyz.ravel()]),
        ImageIFD.AsShotNeutral: (RATIONAL, [rational(share) for share in NEUTRAL]),
        ImageIFD.CalibrationIlluminant1: (SHORT, 21),  # D65
        ImageIFD.CameraSerialNumber: (ASCII, BODY_SERIAL),
    }
    main, exif, gps = camera_facts(select, (width, height))
    small, small_pixels = thumbnail_entries(render, 240)
    below = {
        ImageIFD.SubIFDs: (Directory(raw, strips=(packed,)),),
        ImageIFD.ExifTag: (Directory(typed(exif, "Exif")),),
        ImageIFD.GPSTag: (Directory(typed(gps, "GPS")),),
    }
    return tiff_bytes(Directory(small | typed(main, "Image") | camera, below, (small_pixels,)))


# --- how close it came ------------------------------------------------------------------------------------------------


def lab_of(linear: Pixels) -> Pixels:
    """Return CIE Lab under D50 of linear light in sRGB primaries (0..1), as the profile connection space has it."""
    d50 = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D50"]
    return np.asarray(colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear, "sRGB", d50, "Bradford"), d50))


def lab_seen(path: Path) -> Pixels:
    """Return CIE Lab under D50 of a select, upright, as its embedded profile says (sRGB where it has none).

    Read by libvips and Little CMS, which had no part in making it. Both stay in float: their 16-bit path goes
    through a coarse table, which alone is worth half a unit in saturated reds. The raw is developed by LibRaw;
    a threshold of 0 keeps it from stretching the brightest pixel to white.
    """
    if path.suffix == ".dng":
        with rawpy.imread(str(path)) as raw:
            linear = raw.postprocess(
                use_camera_wb=True, no_auto_bright=True, adjust_maximum_thr=0.0, output_bps=16, gamma=(1, 1)
            )
        return lab_of(linear / 65535)
    picture = pyvips.Image.new_from_file(str(path)).autorot()
    if not picture.get_typeof("icc-profile-data"):
        return lab_of(colour.models.eotf_sRGB(picture.numpy() / 255))
    return np.asarray(picture.icc_import(embedded=True, intent="relative", pcs="lab").numpy())


def differences(render: Pixels, lab: Pixels) -> tuple[float, float]:
    """Return mean and 95th percentile of CIEDE2000 between a frame in encoded sRGB (0..1) and Lab under D50."""
    apart = colour.delta_E(lab_of(colour.models.eotf_sRGB(render)), lab, method="CIE 2000")
    return float(np.mean(apart)), float(np.percentile(apart, 95))


MAKERS = {"romm tiff": make_tiff, "dng": make_dng}


def main() -> None:
    """Write all selects and say what they are."""
    parser = argparse.ArgumentParser(description="Make the selects of the sample shoot from its rendered frames.")
    parser.add_argument("material", type=Path, help="folder with the rendered frames")
    parser.add_argument("out", type=Path, help="folder that gets the selects")
    arguments = parser.parse_args()
    arguments.out.mkdir(parents=True, exist_ok=True)
    total = 0
    for select in SELECTS:
        source, path = arguments.material / select.source, arguments.out / select.name
        made = MAKERS.get(select.form, make_jpeg)(select, source)
        path.write_bytes(made)
        total += len(made)
        mean, high = differences(read_render(source), lab_seen(path))
        print(f"{hashlib.sha256(made).hexdigest()}  {select.name}")
        print(f"    {len(made)} bytes, {select.form}, CIEDE2000 mean {mean:.3f}, 95 of 100 below {high:.3f}")
    print(f"{total} bytes in all")


if __name__ == "__main__":
    main()
