"""Camera facts against Exif written by piexif and read by exiftool, and against hostile blocks."""

from __future__ import annotations

import io
import struct
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import piexif
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.frames.camera_facts import camera_facts, interoperability, orientation
from pipeline.frames.header import CameraFacts
from tests.frames.files import encoded, noise, put, tiff_of

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

EXIF: dict[str, dict[int, Any]] = {
    "0th": {
        piexif.ImageIFD.Make: b"Invented Optics",
        piexif.ImageIFD.Model: b"Plate One",
        piexif.ImageIFD.Orientation: 6,
    },
    "Exif": {
        piexif.ExifIFD.ExposureTime: (10, 1250),
        piexif.ExifIFD.FNumber: (56, 10),
        piexif.ExifIFD.ISOSpeedRatings: 400,
        piexif.ExifIFD.FocalLength: (500, 10),
        piexif.ExifIFD.FocalLengthIn35mmFilm: 75,
        piexif.ExifIFD.SubjectDistance: (64, 100),
        piexif.ExifIFD.LensModel: "Makro 50 mm f/2.8 „Küche“".encode(),
        piexif.ExifIFD.DateTimeOriginal: b"2026:09:12 10:24:31",
        0x9011: b"+02:00",
        piexif.ExifIFD.BodySerialNumber: b"000123",
    },
    "GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((48, 1), (12, 1), (0, 1))},
    "Interop": {piexif.InteropIFD.InteroperabilityIndex: b"R03"},
}
FACTS = CameraFacts(
    make="Invented Optics",
    model="Plate One",
    lens="Makro 50 mm f/2.8 „Küche“",
    exposure_s=Fraction(1, 125),
    f_number=Fraction(28, 5),
    iso=400,
    focal_mm=Fraction(50),
    taken="2026-09-12T10:24:31+02:00",
    position=True,
    serials=True,
    focal_35_mm=75,
    distance_m=Fraction(64, 100),
)


def block(**ifds: dict[int, Any]) -> bytes:
    """Return an Exif block by piexif."""
    return bytes(piexif.dump(ifds))


def test_all_facts_of_a_full_block() -> None:
    data = block(**EXIF)
    assert camera_facts(data) == FACTS
    assert camera_facts(data.removeprefix(b"Exif\0\0")) == FACTS
    assert orientation(data) == 6
    assert interoperability(data) == "R03"


def test_facts_are_what_exiftool_reads(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    facts = camera_facts(block(**EXIF))
    tags = exiftool(put(tmp_path, "frame.jpg", encoded(noise(), "JPEG", exif=block(**EXIF))), "-n")
    assert tags["IFD0:Make"] == facts.make
    assert tags["IFD0:Model"] == facts.model
    assert tags["ExifIFD:LensModel"] == facts.lens
    assert tags["ExifIFD:ExposureTime"] == float(facts.exposure_s or 0)
    assert tags["ExifIFD:FNumber"] == float(facts.f_number or 0)
    assert tags["ExifIFD:ISO"] == facts.iso
    assert tags["ExifIFD:FocalLength"] == float(facts.focal_mm or 0)
    assert tags["ExifIFD:FocalLengthIn35mmFormat"] == facts.focal_35_mm
    assert tags["ExifIFD:SubjectDistance"] == float(facts.distance_m or 0)
    when = tags["ExifIFD:DateTimeOriginal"].replace(":", "-", 2).replace(" ", "T")
    assert when + tags["ExifIFD:OffsetTimeOriginal"] == facts.taken
    assert any(tag.startswith("GPS:") for tag in tags) == facts.position


@pytest.mark.parametrize(
    "data", [None, b"", b"Exif\0\0", b"Exif\0\0II*\0", b"II*\0\xff\xff\xff\xff", b"not Exif at all"]
)
def test_no_block_gives_no_facts(data: bytes | None) -> None:
    assert camera_facts(data) == CameraFacts()
    assert orientation(data) == 1
    assert interoperability(data) is None


@pytest.mark.parametrize(
    ("moment", "offset", "expected"),
    [
        (b"2026:09:12 10:24:31", None, "2026-09-12T10:24:31"),
        (b"2026:09:12 10:24:31", b"-09:30", "2026-09-12T10:24:31-09:30"),
        (b"2026:09:12 10:24:31", b"   :  ", "2026-09-12T10:24:31"),
        (b"2026:09:12 10:24:31", b"+99:99", "2026-09-12T10:24:31"),
        (b"    :  :     :  :  ", None, None),
        (b"0000:00:00 00:00:00", None, None),
        (b"2026:02:30 10:00:00", None, None),
        (b"yesterday", b"+02:00", None),
    ],
)
def test_time_taken(moment: bytes, offset: bytes | None, expected: str | None) -> None:
    fields: dict[int, Any] = {piexif.ExifIFD.DateTimeOriginal: moment}
    if offset:
        fields[0x9011] = offset
    assert camera_facts(block(Exif=fields)).taken == expected


def test_text_of_type_129_is_read_as_utf_8() -> None:
    # Exif 3.0: type 129 is UTF-8 (seen in exiftool's tables); piexif raises on it.
    words = "Küchen-Kamera\0".encode()
    data = tiff_of([(0x010F, 129, len(words), 26)], tail=words)
    assert camera_facts(data).make == "Küchen-Kamera"


def test_text_that_is_not_utf_8_is_read_as_latin_1() -> None:
    words = "Küche\0".encode("latin-1")
    assert camera_facts(tiff_of([(0x0110, 2, len(words), 26)], tail=words)).model == "Küche"


def test_control_letters_and_endless_text_stay_out() -> None:
    words = b"Plate\x1b[31m\n One " + b"x" * 5000
    model = camera_facts(tiff_of([(0x0110, 2, len(words), 26)], tail=words)).model
    assert model is not None
    assert model.startswith("Plate [31m One xxx")
    assert len(model) == 200


@pytest.mark.parametrize(
    ("numerator", "denominator", "expected"),
    [(1, 0, None), (0, 1, None), (0, 0, None), (0xFFFFFFFF, 1, None), (10, 4, Fraction(5, 2))],
)
def test_rationals_that_say_nothing(numerator: int, denominator: int, expected: Fraction | None) -> None:
    # The field may stand in the first directory too (TIFF/EP).
    data = tiff_of([(0x829A, 5, 1, 26)], tail=struct.pack("<II", numerator, denominator))
    assert camera_facts(data).exposure_s == expected


def test_iso_above_what_the_old_field_holds() -> None:
    # CIPA DC-008: PhotographicSensitivity is 65535 where the value does not fit; 0x8832 then has it (from memory).
    data = tiff_of([(0x8827, 3, 1, 65535), (0x8830, 3, 1, 2), (0x8832, 4, 1, 102400)])
    assert camera_facts(data).iso == 102400


@pytest.mark.parametrize(
    ("numerator", "denominator", "expected"),
    [(64, 100, Fraction(16, 25)), (0, 1, None), (0xFFFFFFFF, 1, None), (5, 0, None)],
)
def test_no_distance_and_infinity_are_none(numerator: int, denominator: int, expected: Fraction | None) -> None:
    # CIPA DC-008: numerator FFFFFFFF is infinity, 0 is unknown.
    data = block(Exif={piexif.ExifIFD.SubjectDistance: (numerator, denominator)})
    assert expected == camera_facts(data).distance_m


def test_a_focal_length_on_35_mm_of_0_is_unknown() -> None:
    assert camera_facts(block(Exif={piexif.ExifIFD.FocalLengthIn35mmFilm: 0})).focal_35_mm is None


def test_a_gps_directory_with_only_its_version_is_no_position() -> None:
    assert not camera_facts(block(GPS={piexif.GPSIFD.GPSVersionID: (2, 3, 0, 0)})).position
    assert camera_facts(block(GPS={piexif.GPSIFD.GPSDateStamp: b"2026:09:12"})).position


def test_blank_serials_are_none() -> None:
    assert not camera_facts(block(Exif={piexif.ExifIFD.BodySerialNumber: b"   "})).serials
    assert camera_facts(block(Exif={piexif.ExifIFD.CameraOwnerName: b"Someone"})).serials


@pytest.mark.parametrize("value", [0, 9, 65535])
def test_an_orientation_out_of_range_is_upright(value: int) -> None:
    assert orientation(tiff_of([(0x0112, 3, 1, value)])) == 1


def test_pointers_into_the_first_directory_end() -> None:
    data = tiff_of([(0x8769, 4, 1, 8), (0x8825, 4, 1, 8), (0xA005, 4, 1, 8)])
    assert camera_facts(data).position  # the directory has fields that are no GPS version
    assert interoperability(data) is None


WHOLE = block(**EXIF)


@pytest.mark.parametrize("length", range(0, len(WHOLE), 7))
def test_a_cut_block_gives_true_facts_or_none(length: int) -> None:
    facts = camera_facts(WHOLE[:length])
    assert facts.exposure_s in (None, FACTS.exposure_s)
    assert facts.make in (None, FACTS.make)
    assert facts.taken in (None, FACTS.taken, "2026-09-12T10:24:31")


@given(st.binary(max_size=300))
@example(b"\x01\0\x69\x87\x04\0\x01\0\0\0\x08\0\0\0")
def test_no_random_block_raises(body: bytes) -> None:
    for start in (b"Exif\0\0II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08"):
        assert isinstance(camera_facts(start + body), CameraFacts)
        assert 1 <= orientation(start + body) <= 8
        interoperability(start + body)


@given(place=st.integers(0, len(WHOLE) - 1), patch=st.binary(min_size=1, max_size=8))
def test_no_patched_block_raises(place: int, patch: bytes) -> None:
    data = io.BytesIO(WHOLE)
    data.seek(place)
    data.write(patch)
    assert isinstance(camera_facts(data.getvalue()), CameraFacts)
