from __future__ import annotations

import io
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import exifread
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.frames.header import CameraFacts
from pipeline.light.box import Size
from pipeline.plan.facts import PictureFacts
from pipeline.render.exif import exif_block
from tests.render.readers import names_in

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pipeline.plan.facts import Policy

SIZE = Size(1600, 900)
SILENT = PictureFacts(language="en")
FACTS = replace(
    SILENT,
    title="Soup",
    description="Crème 🍅 שלום",
    creators=("Ana Exämple", "Bo"),
    copyright="© 2026 Ana Exämple",
    date_created="2026-09-12T10:24:31.25+02:00",
)
CAMERA = CameraFacts("Invented", "One", "One 50 mm", Fraction(1, 60), Fraction(14, 5), 400, Fraction(50), None)


def block(
    facts: PictureFacts = FACTS,
    policy: Policy = "full",
    camera: CameraFacts | None = CAMERA,
    ppi: float = 300,
    *,
    srgb: bool = True,
) -> bytes:
    return exif_block(facts, policy, camera, SIZE, ppi, srgb=srgb)


def tags_of(data: bytes) -> dict[str, Any]:
    """Read a block with exifread, which shares no code with piexif; Pillow puts it into a JPEG file."""
    stream = io.BytesIO()
    Image.new("L", (8, 8)).save(stream, "jpeg", exif=b"Exif\0\0" + data)
    stream.seek(0)
    return {name: tag.values for name, tag in exifread.process_file(stream, strict=True).items()}


def test_the_allow_list_is_all_there_is() -> None:
    assert {
        "Image ImageDescription",
        "Image Make",
        "Image Model",
        "Image Orientation",
        "Image XResolution",
        "Image YResolution",
        "Image ResolutionUnit",
        "Image Artist",
        "Image Copyright",
        "Image ExifOffset",
        "EXIF ExposureTime",
        "EXIF FNumber",
        "EXIF ISOSpeedRatings",
        "EXIF ExifVersion",
        "EXIF DateTimeOriginal",
        "EXIF OffsetTimeOriginal",
        "EXIF SubSecTimeOriginal",
        "EXIF FocalLength",
        "EXIF ColorSpace",
        "EXIF ExifImageWidth",
        "EXIF ExifImageLength",
        "EXIF LensModel",
    } == set(tags_of(block()))


@pytest.mark.parametrize("policy", ["public", "proof"])
def test_only_the_full_policy_says_how_it_was_taken(policy: Policy) -> None:
    tags = tags_of(block(policy=policy))
    assert not {"Image Make", "Image Model", "EXIF FNumber", "EXIF LensModel", "EXIF ISOSpeedRatings"} & set(tags)
    assert {"Image Copyright", "Image Artist", "EXIF DateTimeOriginal"} <= set(tags)


def test_values_are_those_of_the_facts(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    path = tmp_path / "block.jpg"
    Image.new("L", (8, 8)).save(path, exif=b"Exif\0\0" + block())
    tags = exiftool(path, "-n")
    assert tags["IFD0:ImageDescription"] == "Crème 🍅 שלום"
    assert tags["IFD0:Artist"] == "Ana Exämple; Bo"
    assert tags["IFD0:Copyright"] == "© 2026 Ana Exämple"
    assert (tags["ExifIFD:ExifImageWidth"], tags["ExifIFD:ExifImageHeight"]) == (1600, 900)
    assert tags["ExifIFD:DateTimeOriginal"] == "2026:09:12 10:24:31"
    assert tags["ExifIFD:OffsetTimeOriginal"] == "+02:00"
    assert tags["ExifIFD:ISO"] == 400


def test_the_second_reader_agrees() -> None:
    tags = tags_of(block())
    assert tags["Image XResolution"] == [300]
    assert tags["Image ResolutionUnit"] == [2]
    assert tags["Image Orientation"] == [1]
    assert [Fraction(1, 60)] == tags["EXIF ExposureTime"]
    assert [Fraction(14, 5)] == tags["EXIF FNumber"]
    assert tags["EXIF LensModel"] == "One 50 mm"
    assert tags["EXIF DateTimeOriginal"] == "2026:09:12 10:24:31"


def test_text_is_utf_8_in_type_2() -> None:
    """XMP Specification Part 3 (2020), 3.2.3.1: UTF-8 in ASCII values, each ended by NUL."""
    data = block()
    for text in ("Crème 🍅 שלום", "Ana Exämple; Bo", "© 2026 Ana Exämple"):
        assert text.encode() + b"\0" in data
    entry = data.index(b"\x01\x0e\x00\x02")  # tag 0x010E, type 2, big-endian
    assert len("Crème 🍅 שלום".encode()) + 1 == int.from_bytes(data[entry + 4 : entry + 8], "big")


def test_the_block_begins_with_a_tiff_header() -> None:
    assert block()[:4] == b"MM\0*"


@pytest.mark.parametrize(("srgb", "stated"), [(True, 1), (False, 0xFFFF)])
def test_colour_space(srgb: bool, stated: int) -> None:  # noqa: FBT001 (a row of a table)
    """CIPA DC-008 4.6.5: 1 sRGB, 65535 uncalibrated; there is no 2."""
    assert [stated] == tags_of(block(srgb=srgb))["EXIF ColorSpace"]


def test_silent_facts_leave_the_picture_only() -> None:
    tags = tags_of(block(SILENT, camera=CameraFacts()))
    assert {
        "Image Orientation",
        "Image XResolution",
        "Image YResolution",
        "Image ResolutionUnit",
        "Image ExifOffset",
        "EXIF ExifVersion",
        "EXIF ColorSpace",
        "EXIF ExifImageWidth",
        "EXIF ExifImageLength",
    } == set(tags)
    assert block(SILENT, camera=None) == block(SILENT, camera=CameraFacts())


@pytest.mark.parametrize(
    ("date", "time", "part", "offset"),
    [
        ("2026-09-12T10:24:31+02:00", "2026:09:12 10:24:31", None, "+02:00"),
        ("2026-09-12T10:24:31.75-03:30", "2026:09:12 10:24:31", "75", "-03:30"),
        ("2026-09-12T10:24:31.007Z", "2026:09:12 10:24:31", "007", "+00:00"),
        ("2026-09-12T10:24:31.000", "2026:09:12 10:24:31", None, None),
        ("2026-09-12T10:24", "2026:09:12 10:24:00", None, None),
        ("2026-09-12", None, None, None),
    ],
)
def test_dates(date: str, time: str | None, part: str | None, offset: str | None) -> None:
    """CIPA DC-008 4.6.5: "YYYY:MM:DD HH:MM:SS", the digits behind the point of a second, "+HH:MM"."""
    tags = tags_of(block(replace(FACTS, date_created=date)))
    assert time == tags.get("EXIF DateTimeOriginal")
    assert part == tags.get("EXIF SubSecTimeOriginal")
    assert offset == tags.get("EXIF OffsetTimeOriginal")


@pytest.mark.parametrize(
    ("names", "artist"),
    [
        (("Ana", "Bo"), "Ana; Bo"),
        (("Ana",), "Ana"),
        (("", "Bo"), "Bo"),
        (("Ana; Bo", "Cy"), '"Ana; Bo"; Cy'),
        (('"Cy" Dee',), '"""Cy"" Dee"'),
        (('Cy "C" Dee', "Eve;"), 'Cy "C" Dee; Eve;'),
    ],
)
def test_several_names_can_be_taken_apart_again(names: tuple[str, ...], artist: str) -> None:
    """MWG 2.0 (from memory), as exiftool reads it: quotes around a name that holds the separator or begins with one."""
    data = block(replace(SILENT, creators=names))
    assert artist.encode() + b"\0" in data
    assert names_in(artist) == [name for name in names if name]


@given(
    st.datetimes(min_value=datetime(1000, 1, 1)),  # noqa: DTZ001 (local time is what Exif has)
    st.none() | st.integers(-14 * 60, 14 * 60),
)
def test_any_time_comes_back(moment: datetime, minutes: int | None) -> None:
    zone = None if minutes is None else timezone(timedelta(minutes=minutes))
    taken = moment.replace(microsecond=0, tzinfo=zone)
    tags = tags_of(block(replace(SILENT, date_created=taken.isoformat())))
    read = datetime.fromisoformat(
        tags["EXIF DateTimeOriginal"].replace(":", "-", 2) + tags.get("EXIF OffsetTimeOriginal", "")
    )
    assert taken == read


@given(
    st.builds(
        CameraFacts,
        exposure_s=st.fractions(Fraction(1, 100_000), 10_000),
        f_number=st.fractions(Fraction(1, 2), 128),
        focal_mm=st.fractions(1, 3000),
        iso=st.integers(1, 4_000_000),
    )
)
def test_exposure_comes_back(camera: CameraFacts) -> None:
    tags = tags_of(block(camera=camera))
    for name, value in (
        ("ExposureTime", camera.exposure_s),
        ("FNumber", camera.f_number),
        ("FocalLength", camera.focal_mm),
    ):
        assert value is not None
        assert abs(value - tags[f"EXIF {name}"][0]) < Fraction(1, 100_000)
    assert camera.iso is not None
    assert [min(camera.iso, 65535)] == tags["EXIF ISOSpeedRatings"]


def test_values_exif_cannot_hold_are_left_out() -> None:
    camera = CameraFacts(exposure_s=Fraction(0), f_number=Fraction(-1), focal_mm=Fraction(1 << 40), iso=0)
    assert block(camera=CameraFacts()) == block(camera=camera)


@given(st.floats(1, 65535))
def test_any_resolution_comes_back(ppi: float) -> None:
    tags = tags_of(block(ppi=ppi))
    assert float(tags["Image XResolution"][0]) == pytest.approx(ppi, abs=1e-4)
    assert tags["Image XResolution"] == tags["Image YResolution"]


def test_what_cannot_be_written_is_refused() -> None:
    with pytest.raises(ValueError, match="NUL"):
        block(camera=CameraFacts(make="a\0b"))
    with pytest.raises(ValueError, match=r"copyright holds U\+0000"):
        block(replace(FACTS, copyright="a\0b"))
    with pytest.raises(ValueError, match="'last week' is not ISO 8601"):
        block(replace(FACTS, date_created="last week"))
    for ppi in (0.0, -300.0, 65536.0, float("nan"), float("inf")):
        with pytest.raises(ValueError, match="1 to 65535"):
            block(ppi=ppi)
    with pytest.raises(ValueError, match=r"description holds U\+D800"):
        block(replace(FACTS, description="\ud800"))


# Char of XML 1.0 (fifth edition), production 2, without the carriage return: what the job lets through.
@given(
    st.text(
        st.characters(exclude_characters="\ufffe\uffff", exclude_categories=["Cs"]).filter(
            lambda character: character in "\t\n" or character >= " "
        ),
        min_size=1,
    )
)
def test_any_text_comes_back(text: str) -> None:
    stored = tags_of(block(replace(SILENT, description=text)))
    assert "Image ImageDescription" in stored
    with Image.open(io.BytesIO(_jpeg(block(replace(SILENT, description=text))))) as image:
        read = image.getexif()[270]
    # Pillow takes type 2 for Latin-1, one character a byte; the bytes are what counts here.
    assert text.encode().rstrip(b"\0") == (read if isinstance(read, bytes) else read.encode("latin-1"))


def _jpeg(data: bytes) -> bytes:
    stream = io.BytesIO()
    Image.new("L", (8, 8)).save(stream, "jpeg", exif=b"Exif\0\0" + data)
    return stream.getvalue()


def test_every_value_stands_on_a_word_boundary() -> None:
    """TIFF 6.0, section 2: values and directories at even offsets, the next directory's offset behind each."""
    data = block(replace(FACTS, description="odd", copyright="even"))
    directory = int.from_bytes(data[4:8], "big")
    seen = 0
    while directory:
        assert directory % 2 == 0
        count = int.from_bytes(data[directory : directory + 2], "big")
        following = 0
        for start in range(directory + 2, directory + 2 + 12 * count, 12):
            tag, kind = (int.from_bytes(data[start + at : start + at + 2], "big") for at in (0, 2))
            number, value = (int.from_bytes(data[start + at : start + at + 4], "big") for at in (4, 8))
            if number * {2: 1, 3: 2, 4: 4, 5: 8, 7: 1}[kind] > 4:
                assert value % 2 == 0
            following = value if tag == 34665 else following
        end = directory + 2 + 12 * count
        assert bytes(4) == data[end : end + 4]
        directory = following
        seen += 1
    assert seen == 2
