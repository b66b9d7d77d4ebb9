"""What must never leave: planted in frames of every kind, looked for in every byte of what an export makes of them."""

from __future__ import annotations

import base64
import io
import re
import struct
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import piexif
import pytest
import tifffile
from PIL import Image, PngImagePlugin

from pipeline.deliver.export import Asked, export
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB
from tests.exiftool import exiftool_says

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

FRAMES = ("bowl.jpg", "board.tif", "plate.png", "cup.webp", "glass.avif")
HEAD = """
profiles = ["blog", "print", "partner"]

[shoot]
title = "Bean soup"
language = "en"
date = 2026-09-12

[credit]
creator = "Ines Falkenrath"
copyright = "© 2026 Ines Falkenrath"

[targets."blog/hero"]
widths = [200]
formats = ["avif", "webp", "jpeg", "png"]

[targets."print/eight-by-ten"]
size_mm = [25.4, 31.75]
"""
FRAME = """
[[frames]]
file = "{name}"
subject = [0.4, 0.5]
alt = "A bowl of red soup from {name}"
targets = ["blog/hero", "print/eight-by-ten", "partner/proof"]
"""
PROFILE_NAME = "Display of Hanna Verborgen"
WIDE, IN_ZTXT, IN_ITXT = "PRIVATE-wide", "PRIVATE-zTXt", "PRIVATE-iTXt"
# What the writers of these frames put into some formats only.
ONLY_IN = {
    IN_ZTXT: {"plate.png"},
    IN_ITXT: {"plate.png"},
    "PRIVATE-file-comment": {"bowl.jpg", "plate.png"},
    "PRIVATE-iim-city": {"bowl.jpg", "board.tif"},
    "PRIVATE-iim-street": {"bowl.jpg", "board.tif"},
    "PRIVATE-iim-program": {"bowl.jpg", "board.tif"},
    "thumbnail": {"bowl.jpg", "plate.png", "cup.webp", "glass.avif"},
}
# The last part of each is a rational whose two numbers are not met by chance.
LATITUDE, LONGITUDE = (1234577, 100043), (7654321, 1000081)
EXIF = {
    "0th": {
        piexif.ImageIFD.Make: b"Halden Optik",
        piexif.ImageIFD.Model: b"HO-7",
        piexif.ImageIFD.Software: b"PRIVATE-software",
        piexif.ImageIFD.HostComputer: b"PRIVATE-computer",
        piexif.ImageIFD.CameraSerialNumber: b"PRIVATE-serial-0th",
        piexif.ImageIFD.XPComment: WIDE.encode("utf-16-le") + b"\0\0",
    },
    "Exif": {
        piexif.ExifIFD.BodySerialNumber: b"PRIVATE-serial-body",
        piexif.ExifIFD.LensSerialNumber: b"PRIVATE-serial-lens",
        piexif.ExifIFD.CameraOwnerName: b"PRIVATE-owner",
        piexif.ExifIFD.ImageUniqueID: b"PRIVATE-unique-id",
        piexif.ExifIFD.UserComment: b"ASCII\0\0\0PRIVATE-comment",
        piexif.ExifIFD.MakerNote: b"PRIVATE-maker-note",
    },
    "GPS": {
        piexif.GPSIFD.GPSLatitudeRef: b"N",
        piexif.GPSIFD.GPSLatitude: ((45, 1), (7, 1), LATITUDE),
        piexif.GPSIFD.GPSLongitudeRef: b"W",
        piexif.GPSIFD.GPSLongitude: ((30, 1), (9, 1), LONGITUDE),
        piexif.GPSIFD.GPSAreaInformation: b"ASCII\0\0\0PRIVATE-area",
    },
}
# Names of exiftool's tables; it writes each where the format has a place for it.
BY_EXIFTOOL = (
    "-XMP-exif:GPSLatitude=47.987654",
    "-XMP-aux:SerialNumber=PRIVATE-xmp-serial",
    "-XMP-aux:OwnerName=PRIVATE-xmp-owner",
    "-XMP-xmp:CreatorTool=PRIVATE-xmp-tool",
    "-XMP-xmpMM:HistorySoftwareAgent=PRIVATE-history-agent",
    "-XMP-xmpMM:HistoryChanged=PRIVATE-history-change",
    "-XMP-xmpMM:DerivedFromFilePath=PRIVATE-derived-from",
    "-XMP-xmpMM:OriginalDocumentID=PRIVATE-original-id",
    "-XMP-photoshop:History=PRIVATE-photoshop-history",
    "-XMP-iptcExt:PersonInImage=PRIVATE-person",
    "-XMP-iptcExt:LocationShownSublocation=PRIVATE-street",
    "-XMP-iptcCore:Location=PRIVATE-location",
    "-XMP-photoshop:City=PRIVATE-xmp-city",
    "-XMP-mwg-rs:RegionName=PRIVATE-face",
    "-IPTC:City=PRIVATE-iim-city",
    "-IPTC:Sub-location=PRIVATE-iim-street",
    "-IPTC:OriginatingProgram=PRIVATE-iim-program",
    "-Comment=PRIVATE-file-comment",
)


def needles(thumbnail: bytes) -> dict[str, set[bytes]]:
    """Return what must not be found, by the words for it: each in every form that it may be written in."""
    words = [*re.findall(r"PRIVATE-[a-z0-9-]+", repr(EXIF) + repr(BY_EXIFTOOL)), WIDE, IN_ZTXT, IN_ITXT, PROFILE_NAME]
    found = {word: {word.encode(coding) for coding in ("utf-8", "utf-16-le", "utf-16-be")} for word in words}
    found["position in XMP"] = {b"47,59.25924"}
    for name, numbers in (("latitude", LATITUDE), ("longitude", LONGITUDE)):
        found[name] = {struct.pack(f"{order}II", *numbers) for order in "<>"}
    parts = [thumbnail[at : at + 24] for at in range(len(thumbnail) // 48 * 24, len(thumbnail) - 24, 24)]
    return found | {"thumbnail": set(parts), "thumbnail in XMP": {base64.b64encode(part) for part in parts}}


def unpacked(data: bytes) -> Iterator[bytes]:
    """Give the bytes, and what every zlib stream in them holds wherever one begins (PNG, TIFF), and TIFF strips."""
    yield data
    for head in re.finditer(rb"[\x08-\x78][\x01\x5e\x9c\xda]", data):
        if int.from_bytes(head[0], "big") % 31 == 0 and head[0][0] & 15 == 8:  # RFC 1950, 2.2
            stream = zlib.decompressobj()
            try:
                yield stream.decompress(data[head.start() :], 10_000_000)
            except zlib.error:
                continue
    if data[:4] in {b"II*\0", b"MM\0*"}:
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            yield from (page.asarray().tobytes() for page in file.pages if isinstance(page, tifffile.TiffPage))


def found_in(data: bytes, wanted: dict[str, set[bytes]]) -> set[str]:
    parts = list(unpacked(data))
    return {name for name, forms in wanted.items() if any(form in part for form in forms for part in parts)}


def photograph(tint: int) -> Image.Image:
    ramp = Image.linear_gradient("L").resize((600, 400))
    return Image.merge("RGB", (ramp, ramp.rotate(180), ramp.point(lambda value: value * tint // 255)))


def thumbnail_of(image: Image.Image) -> bytes:
    stream = io.BytesIO()
    image.resize((80, 60)).save(stream, "jpeg", quality=95)
    return stream.getvalue()


@pytest.fixture
def shoot(tmp_path: Path) -> tuple[Path, bytes]:
    """Return the job of five frames that carry all that must not leave, and the thumbnail inside them."""
    thumbnail = thumbnail_of(photograph(90))
    exif = piexif.dump(EXIF | {"1st": {piexif.ImageIFD.Compression: 6}, "thumbnail": thumbnail})
    profile = write_matrix_profile(replace(ADOBE_RGB, name=PROFILE_NAME))
    view = tmp_path / "thumbnail"
    view.write_bytes(thumbnail)
    text = PngImagePlugin.PngInfo()
    text.add_text("Author", IN_ZTXT, zip=True)
    text.add_itxt("Author", IN_ITXT, zip=True)
    for tint, name in enumerate(FRAMES, start=100):
        path = tmp_path / name
        options: dict[str, Any] = {"pnginfo": text} if name.endswith("png") else {}
        photograph(tint).save(path, exif=exif, icc_profile=profile, **options)
        exiftool_says("-q", "-m", "-overwrite_original", *BY_EXIFTOOL, f"-XMP-xmp:ThumbnailImage<={view}", path)
    job = tmp_path / "job.toml"
    job.write_text(HEAD + "".join(FRAME.format(name=name) for name in FRAMES), encoding="utf-8")
    return job, thumbnail


def test_what_is_planted_leaves_no_byte_in_any_output(shoot: tuple[Path, bytes]) -> None:
    job, thumbnail = shoot
    wanted = needles(thumbnail)
    for name in FRAMES:  # the search finds what is there
        elsewhere = {word for word, names in ONLY_IN.items() if name not in names}
        assert wanted.keys() - elsewhere == found_in((job.parent / name).read_bytes(), wanted), name
    out = job.parent / "out"
    summary = export(Asked(job, out, workers=1, quiet=True), io.StringIO())
    assert summary.faults == ()
    outputs = [path for path in out.rglob("*") if path.is_file()]
    assert {".jpg", ".png", ".webp", ".avif", ".tif", ".json", ".html"} <= {path.suffix for path in outputs}
    leaks = {str(path.relative_to(out)): found_in(path.read_bytes(), wanted) for path in outputs}
    assert not {name: found for name, found in leaks.items() if found}


@pytest.mark.parametrize("level", [1, 6, 9])
def test_the_search_looks_into_compressed_streams(level: int) -> None:
    hidden = zlib.compress(b"PRIVATE-hidden" * 3, level)
    assert b"PRIVATE-hidden" not in hidden
    assert found_in(b"front" + hidden + b"behind", {"hidden": {b"PRIVATE-hidden"}}) == {"hidden"}
    stream = io.BytesIO()
    pixels = np.frombuffer(b"PRIVATE-hidden!!" * 64, np.uint8).reshape(32, 32)
    tifffile.imwrite(stream, pixels, compression="lzw")
    assert b"PRIVATE-hidden" not in stream.getvalue()
    assert found_in(stream.getvalue(), {"hidden": {b"PRIVATE-hidden"}}) == {"hidden"}
