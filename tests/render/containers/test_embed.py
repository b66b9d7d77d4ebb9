from __future__ import annotations

import io
import math
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import exifread
import numpy as np
import piexif
import pytest
import pyvips
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.light.box import Size
from pipeline.render.containers.embed import embed, picture_data
from pipeline.render.containers.ifd import ExifBlock, read_exif, shorts, write_exif
from pipeline.render.exif import exif_block
from tests.exiftool import exiftool_says
from tests.render.containers.pictures import FACTS, NAMES, SIZE, embedded, encoded, format_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FULL = embedded()
CHANGED = embedded(replace(FACTS, alt="Another alt text, é"))
EXTENSION = {"jpeg": "jpg", "png": "png", "webp": "webp", "tiff": "tif", "avif": "avif"}
SMALL = Size(20, 17)

# What exiftool must read for FACTS, group by group; the stored date form of XMP is ISO 8601, printed with colons.
XMP_FIELDS: dict[str, Any] = {
    "XMP-dc:Title": FACTS.title,
    "XMP-dc:Title-en": FACTS.title,
    "XMP-dc:Description": FACTS.description,
    "XMP-dc:Description-en": FACTS.description,
    "XMP-dc:Rights": FACTS.copyright,
    "XMP-dc:Rights-en": FACTS.copyright,
    "XMP-dc:Creator": list(FACTS.creators),
    "XMP-dc:Subject": list(FACTS.keywords),
    "XMP-iptcCore:AltTextAccessibility": FACTS.alt,
    "XMP-iptcCore:AltTextAccessibility-en": FACTS.alt,
    "XMP-photoshop:Credit": FACTS.credit_line,
    "XMP-photoshop:DateCreated": "2026:09:12 10:24:31+02:00",
    "XMP-photoshop:TransmissionReference": FACTS.job_id,
    "XMP-photoshop:Instructions": FACTS.instructions,
    "XMP-xmpRights:Marked": True,
    "XMP-xmpRights:WebStatement": FACTS.licence_url,
    "XMP-xmpRights:UsageTerms": FACTS.usage_terms,
    "XMP-xmpRights:UsageTerms-en": FACTS.usage_terms,
    "XMP-plus:Licensor": [{"LicensorURL": FACTS.acquire_url}],
}
EXIF_FIELDS: dict[str, Any] = {
    "IFD0:ImageDescription": FACTS.description,
    "IFD0:Artist": "; ".join(FACTS.creators),
    "IFD0:Copyright": FACTS.copyright,
    "IFD0:Make": "Invented",
    "IFD0:Model": "One",
    "IFD0:Orientation": 1,
    "IFD0:XResolution": 300,
    "IFD0:YResolution": 300,
    "IFD0:ResolutionUnit": 2,
    "ExifIFD:ExifVersion": "0232",
    "ExifIFD:ColorSpace": 0xFFFF,
    "ExifIFD:DateTimeOriginal": "2026:09:12 10:24:31",
    "ExifIFD:OffsetTimeOriginal": "+02:00",
    "ExifIFD:ExposureTime": pytest.approx(1 / 60),
    "ExifIFD:FNumber": 2.8,
    "ExifIFD:ISO": 400,
    "ExifIFD:FocalLength": 50,
    "ExifIFD:LensModel": "One 50 mm",
}
# IPTC-NAA Information Interchange Model 4.2: dataset 1:90 names UTF-8; lengths in octets (2:110 at most 32).
IIM_FIELDS: dict[str, Any] = {
    "IPTC:CodedCharacterSet": "\x1b%G",
    "IPTC:ApplicationRecordVersion": 4,
    "IPTC:ObjectName": FACTS.title,
    "IPTC:Caption-Abstract": FACTS.description,
    "IPTC:Keywords": list(FACTS.keywords),
    "IPTC:By-line": list(FACTS.creators),
    "IPTC:Credit": FACTS.credit_line,
    "IPTC:CopyrightNotice": FACTS.copyright,
    "IPTC:DateCreated": "2026:09:12",
    "IPTC:TimeCreated": "10:24:31+02:00",
    "IPTC:OriginalTransmissionReference": FACTS.job_id,
    "IPTC:SpecialInstructions": FACTS.instructions,
}
WITH_IIM = {"jpeg", "tiff"}
TRUE_SIZE = {"ExifIFD:ExifImageWidth": SIZE.width, "ExifIFD:ExifImageHeight": SIZE.height}
# What exiftool 12.57 says of TIFF files as libvips writes them: its table of TIFF 6.0 knows neither Adobe's deflate
# (8, TIFF Technical Note) as a compression nor tiles in place of strips. Of IIM it expects the type LONG, which other
# readers turn around in big-endian files.
KNOWN_WARNINGS = {
    "Non-standard format (undef) for IFD0 0x83bb IPTC-NAA",
    "Invalid value for IFD0 tag 0x0103 Compression",
    "Missing required TIFF IFD0 tag 0x0111 StripOffsets",
    "Missing required TIFF IFD0 tag 0x0116 RowsPerStrip",
    "Missing required TIFF IFD0 tag 0x0117 StripByteCounts",
}


def written(folder: Path, name: str, data: bytes) -> Path:
    path = folder / f"{name}.{EXTENSION[format_of(name)]}"
    path.write_bytes(data)
    return path


def decoded(name: str, data: bytes) -> list[np.ndarray[Any, Any]]:
    """Decode with Pillow and with libvips, and TIFF with tifffile too: three readers apart from the writers."""
    with Image.open(io.BytesIO(data)) as image:
        arrays = [np.asarray(image)]
    arrays.append(pyvips.Image.new_from_buffer(data, "").numpy())
    if format_of(name) == "tiff":
        arrays.append(tifffile.imread(io.BytesIO(data)))
    return arrays


@pytest.mark.parametrize("name", NAMES)
def test_exiftool_reads_every_field_and_nothing_private(
    name: str, tmp_path: Path, exiftool: Callable[..., dict[str, Any]]
) -> None:
    path = written(tmp_path, name, embed(encoded(name), format_of(name), FULL))
    tags = exiftool(path, "-n")
    wanted: dict[str, Any] = XMP_FIELDS | EXIF_FIELDS | ({} if format_of(name) == "tiff" else TRUE_SIZE)
    if format_of(name) in WITH_IIM:
        wanted |= IIM_FIELDS
        assert tags["File:CurrentIPTCDigest"] == tags["Photoshop:IPTCDigest"]
    else:
        assert not [tag for tag in tags if tag.startswith(("IPTC:", "Photoshop:"))]
    assert wanted == {tag: tags.get(tag) for tag in wanted}
    words = ("GPS", "Serial", "Owner", "MakerNote", "Thumbnail", "Software", "UniqueID", "History")
    assert not [tag for tag in tags if any(word in tag for word in words)]


@pytest.mark.parametrize("name", [name for name in NAMES if format_of(name) not in {"webp", "avif"}])
def test_exifread_agrees(name: str) -> None:
    """Not for AVIF, which it does not know, nor WebP, where it wants the prefix of JPEG that the format has not."""
    tags = exifread.process_file(io.BytesIO(embed(encoded(name), format_of(name), FULL)))
    assert tags["Image XResolution"].values == [300]
    assert tags["Image Orientation"].values == [1]
    assert tags["EXIF FNumber"].values == [Fraction(14, 5)]
    assert tags["EXIF LensModel"].values == "One 50 mm"
    assert tags["EXIF DateTimeOriginal"].values == "2026:09:12 10:24:31"
    assert tags["EXIF OffsetTimeOriginal"].values == "+02:00"


@pytest.mark.parametrize("name", NAMES)
def test_exiftool_validates_every_container(name: str, tmp_path: Path) -> None:
    path = written(tmp_path, name, embed(encoded(name), format_of(name), FULL))
    options = ["-validate", "-warning", "-error", "-a", "-s3"]
    lines = exiftool_says(*options, path).decode().splitlines()
    assert set(lines[1:]) <= KNOWN_WARNINGS
    assert format_of(name) == "tiff" or lines == ["OK"]


@pytest.mark.parametrize("name", NAMES)
def test_pixels_and_profile_stay(name: str) -> None:
    after = embed(encoded(name), format_of(name), FULL)
    for old, new in zip(decoded(name, encoded(name)), decoded(name, after), strict=True):
        np.testing.assert_array_equal(old, new)
    with Image.open(io.BytesIO(encoded(name))) as old_image, Image.open(io.BytesIO(after)) as new_image:
        assert old_image.info.get("icc_profile") == new_image.info.get("icc_profile")
        assert old_image.mode == new_image.mode


def test_the_profile_reaches_every_format() -> None:
    for name in ("jpeg", "png", "png-16", "webp", "webp-alpha", "tiff-deflate", "tiff-16", "avif", "avif-alpha"):
        with Image.open(io.BytesIO(embed(encoded(name), format_of(name), FULL))) as image:
            assert pyvips.Image.profile_load("p3") == image.info["icc_profile"]


@pytest.mark.parametrize("name", NAMES)
def test_embedding_is_canonical(name: str) -> None:
    form = format_of(name)
    once = embed(encoded(name), form, FULL)
    assert once == embed(once, form, FULL)
    assert once == embed(embed(encoded(name), form, CHANGED), form, FULL)
    assert once != embed(encoded(name), form, CHANGED)


@pytest.mark.parametrize("name", NAMES)
def test_a_changed_alt_text_leaves_the_picture_data(name: str) -> None:
    form = format_of(name)
    original = picture_data(encoded(name), form)
    assert original
    assert original == picture_data(embed(encoded(name), form, FULL), form)
    assert original == picture_data(embed(encoded(name), form, CHANGED), form)


@pytest.mark.parametrize("name", NAMES)
def test_more_or_less_metadata_leaves_the_picture_data(name: str) -> None:
    """Also where it takes several segments, and where there is no IIM."""
    form = format_of(name)
    original = picture_data(encoded(name), form)
    long = embedded(replace(FACTS, long_alt="é" * 70_000, keywords=tuple(f"keyword {n}" for n in range(4000))))
    for metadata in (long, replace(FULL, iim=b"")):
        after = embed(encoded(name), form, metadata)
        assert original == picture_data(after, form)
        assert after == embed(after, form, metadata)
        assert embed(encoded(name), form, FULL) == embed(after, form, FULL)


@pytest.mark.parametrize("form", sorted(EXTENSION))
def test_another_picture_has_other_picture_data(form: str) -> None:
    name = "tiff-deflate" if form == "tiff" else form
    assert picture_data(encoded(name), format_of(name)) != picture_data(encoded(name, SMALL), format_of(name))


@pytest.mark.parametrize("name", NAMES)
def test_planted_private_facts_leave_no_trace(name: str, tmp_path: Path) -> None:
    """Exiftool, a writer apart from ours, plants them; nothing but the picture may come through."""
    path = written(tmp_path, name, encoded(name))
    thumbnail = tmp_path / "thumbnail.jpg"
    thumbnail.write_bytes(encoded("jpeg", SMALL))
    planted = [
        "-EXIF:GPSLatitude=48.123456", "-EXIF:GPSLatitudeRef=N", "-EXIF:GPSLongitude=11.5",
        "-EXIF:GPSAreaInformation=PRIVATE-1",
        "-EXIF:SerialNumber=PRIVATE-2", "-EXIF:OwnerName=PRIVATE-3", "-EXIF:LensSerialNumber=PRIVATE-4",
        "-EXIF:ImageUniqueID=PRIVATE-5", "-EXIF:Software=PRIVATE-6", "-EXIF:UserComment=PRIVATE-7",
        "-EXIF:HostComputer=PRIVATE-8", "-XMP-dc:Source=PRIVATE-9", "-XMP-xmpMM:HistorySoftwareAgent=PRIVATE-10",
        "-XMP-exif:GPSLatitude=48.123456", "-IPTC:City=PRIVATE-11", "-Comment=PRIVATE-12", "-PNG:Author=PRIVATE-13",
        "-XMP-aux:SerialNumber=PRIVATE-14",
    ]  # fmt: skip
    if format_of(name) == "jpeg":
        planted.append(f"-ThumbnailImage<={thumbnail}")
    exiftool_says("-q", "-m", "-overwrite_original", *planted, path)
    dirty = path.read_bytes()
    assert b"PRIVATE-2" in dirty
    assert b"PRIVATE-9" in dirty
    clean = embed(dirty, format_of(name), FULL)
    assert b"PRIVATE" not in clean
    assert b"GPS" not in clean
    assert embed(encoded(name), format_of(name), FULL) == clean


@pytest.mark.parametrize("ppi", [72, 240, 300, 359.7])
def test_resolutions_agree(ppi: float, tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    for name in ("jpeg", "png", "webp", "tiff-deflate", "avif"):
        tags = exiftool(written(tmp_path, name, embed(encoded(name), format_of(name), embedded(ppi=ppi))), "-n")
        assert tags["IFD0:XResolution"] == pytest.approx(ppi)
        assert tags["IFD0:YResolution"] == pytest.approx(ppi)
        assert tags["IFD0:ResolutionUnit"] == 2
        if name == "jpeg":
            assert (round(ppi), round(ppi), 1) == tuple(
                tags[f"JFIF:{tag}"] for tag in ("XResolution", "YResolution", "ResolutionUnit")
            )
        if name == "png":
            assert tags["PNG-pHYs:PixelUnits"] == 1
            assert tags["PNG-pHYs:PixelsPerUnitX"] == tags["PNG-pHYs:PixelsPerUnitY"]
            assert tags["PNG-pHYs:PixelsPerUnitX"] * 0.0254 == pytest.approx(ppi, abs=0.0254 / 2)


def test_300_ppi_in_png_is_11811_pixels_a_metre(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    """300 / 0.0254 = 11811.02 (PNG 3rd edition, 11.3.4.3: whole pixels a metre)."""
    tags = exiftool(written(tmp_path, "png", embed(encoded("png"), "png", FULL)))
    assert tags["PNG-pHYs:PixelsPerUnitX"] == 11811


@pytest.mark.parametrize("name", ["jpeg", "png", "webp", "tiff-deflate", "avif"])
def test_what_is_embedded_must_agree_with_itself(name: str) -> None:
    form, data = format_of(name), encoded(name)
    with pytest.raises(ValueError, match="does not state the resolution of 240 ppi"):
        embed(data, form, replace(FULL, ppi=240))
    for ppi in (0.0, -1.0, 70_000.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="1 to 65535"):
            embed(data, form, replace(FULL, ppi=ppi))
    block = read_exif(FULL.exif)
    centimetres = ExifBlock(block.order, block.first | {296: shorts(296, (3,))}, block.second)
    with pytest.raises(ValueError, match="does not state the resolution of 300 ppi"):
        embed(data, form, replace(FULL, exif=write_exif(centimetres)))
    with pytest.raises(ValueError, match="XMP packet is empty"):
        embed(data, form, replace(FULL, xmp=b""))
    with pytest.raises(ValueError, match="does not begin with a dataset"):
        embed(data, form, replace(FULL, iim=b"8BIM"))
    with pytest.raises(ValueError, match="TIFF header"):
        embed(data, form, replace(FULL, exif=b"Exif\0\0" + FULL.exif))


def test_an_exif_block_with_a_position_is_refused() -> None:
    first = {282: (300, 1), 283: (300, 1), 296: 2}
    block = piexif.dump({"0th": first, "Exif": {36864: b"0232"}, "GPS": {1: b"N"}}).removeprefix(b"Exif\0\0")
    with pytest.raises(ValueError, match="position"):
        embed(encoded("png"), "png", replace(FULL, exif=block))


@pytest.mark.parametrize("name", ["jpeg", "png", "webp", "tiff-deflate", "avif"])
def test_another_format_is_refused(name: str) -> None:
    for other in ("jpeg", "png", "webp", "tiff-deflate", "avif"):
        if other != name:
            with pytest.raises(ValueError, match=r"JPEG|PNG|WebP|TIFF|AVIF"):
                embed(encoded(other), format_of(name), FULL)
            with pytest.raises(ValueError, match=r"JPEG|PNG|WebP|TIFF|AVIF"):
                picture_data(encoded(other), format_of(name))


@pytest.mark.parametrize("name", ["jpeg", "png", "webp", "tiff-deflate", "avif"])
def test_a_file_cut_anywhere_is_refused(name: str) -> None:
    """As libvips writes them, they all end with picture data, a directory, a counted chunk or an end marker."""
    whole = encoded(name, SMALL)
    for end in range(0, len(whole) - 2, 3):
        with pytest.raises(ValueError, match=r"JPEG|PNG|WebP|TIFF|AVIF|box"):
            embed(whole[:end], format_of(name), FULL)


@st.composite
def damaged(draw: st.DrawFn) -> tuple[str, bytes]:
    """Draw one of our files with bytes changed (more often near the front, where the structure is), cut or doubled."""
    name = draw(st.sampled_from(NAMES))
    data = bytearray(encoded(name, SMALL))
    if draw(st.booleans()):
        data = bytearray(embed(bytes(data), format_of(name), FULL))
    places = st.integers(0, min(len(data), 400) - 1) | st.integers(0, len(data) - 1)
    for place, value in draw(st.lists(st.tuples(places, st.integers(0, 255)), max_size=4)):
        data[place] = value
    match draw(st.sampled_from(["keep", "cut", "drop", "double"])):
        case "cut":
            del data[draw(places) :]
        case "drop":
            place = draw(places)
            del data[place : place + draw(st.integers(1, 8))]
        case "double":
            place = draw(places)
            data[place:place] = data[place : place + draw(st.integers(1, 64))]
    return name, bytes(data)


@given(damaged())
def test_damage_is_refused_or_harmless(case: tuple[str, bytes]) -> None:
    """Whatever is not refused is still rewritten canonically; no other exception, no endless loop."""
    name, data = case
    form = format_of(name)
    try:
        once = embed(data, form, FULL)
    except ValueError:
        return
    assert once == embed(embed(data, form, CHANGED), form, FULL)
    assert picture_data(data, form) == picture_data(once, form)


@given(st.sampled_from(sorted(EXTENSION)), st.binary(max_size=200))
def test_noise_is_refused(form: str, data: bytes) -> None:
    name = format_of(form)
    with pytest.raises(ValueError, match=r"JPEG|PNG|WebP|TIFF|AVIF|RIFF"):
        embed(data, name, FULL)


def test_the_block_of_a_policy_goes_in_as_it_is(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    block = exif_block(FACTS, "public", None, SIZE, 300, srgb=True)
    for name in ("jpeg", "png", "webp", "tiff-deflate", "avif"):
        tags = exiftool(written(tmp_path, name, embed(encoded(name), format_of(name), replace(FULL, exif=block))), "-n")
        assert tags["ExifIFD:ColorSpace"] == 1
        assert "IFD0:Make" not in tags
        assert "ExifIFD:FNumber" not in tags
