"""Directories of Exif and TIFF: values by name, each type, each byte order, and what hangs on them."""

from __future__ import annotations

from fractions import Fraction

import piexif
import pytest

from pipeline.deliver.verify.tags import named, read_directories


def block(*entries: tuple[int, int, int, bytes], tail: bytes = b"", following: int = 0) -> bytes:
    """Return a little-endian block of one directory at byte 8. Source: TIFF 6.0 section 2."""
    body = b"".join(
        tag.to_bytes(2, "little") + kind.to_bytes(2, "little") + count.to_bytes(4, "little") + value.ljust(4, b"\0")
        for tag, kind, count, value in entries
    )
    return b"II*\0\x08\0\0\0" + len(entries).to_bytes(2, "little") + body + following.to_bytes(4, "little") + tail


def test_what_piexif_wrote() -> None:
    data = piexif.dump(
        {
            "0th": {piexif.ImageIFD.Artist: "Jö".encode(), piexif.ImageIFD.XResolution: (300, 1)},
            "Exif": {piexif.ExifIFD.ExposureTime: (1, 60), piexif.ExifIFD.BodySerialNumber: b"4711"},
            "GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N"},
            "Interop": {piexif.InteropIFD.InteroperabilityIndex: b"R98"},
        }
    ).removeprefix(b"Exif\0\0")
    directories = read_directories(data, "it")
    assert named(directories) == {
        "Artist": "Jö",
        "XResolution": (Fraction(300),),
        "ExposureTime": (Fraction(1, 60),),
        "BodySerialNumber": "4711",
    }
    assert directories.others == ("a GPS position (Exif)", "an interoperability directory (Exif)")


@pytest.mark.parametrize(
    ("entry", "value"),
    [
        ((0x0112, 3, 1, b"\x06\0"), {"Orientation": (6,)}),
        ((0x013B, 2, 4, b"Ann\0"), {"Artist": "Ann"}),
        ((0x013B, 129, 4, "Jö\0".encode()), {"Artist": "Jö"}),  # the UTF-8 type of Exif 3.0
        ((0x013B, 2, 2, b"\xff\0"), {"Artist": "\\xff"}),
        ((0x1234, 8, 1, b"\xfe\xff"), {"IFD0 0x1234": (-2,)}),
        ((0x1234, 11, 1, bytes(4)), {"IFD0 0x1234": (0,)}),
    ],
)
def test_each_type(entry: tuple[int, int, int, bytes], value: dict[str, object]) -> None:
    assert value == named(read_directories(block(entry), "it"))


def test_a_fraction_without_a_denominator_is_no_crash() -> None:
    data = block((0x011A, 5, 1, (26).to_bytes(4, "little")), tail=bytes((1, 0, 0, 0, 0, 0, 0, 0)))
    assert named(read_directories(data, "it")) == {"XResolution": (Fraction(-1),)}


def test_a_following_directory_is_named() -> None:
    assert read_directories(block(following=8), "it").others == ("a thumbnail or second picture (Exif)",)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"II+\0\x08\0\0\0", "it does not begin with a TIFF header"),
        (block((1, 99, 1, b"")), "it: tag 1 has the unknown type 99"),
        (block((1, 2, 1 << 31, b"")), "it holds values that use the same bytes"),
        (block((1, 2, 30, (9999).to_bytes(4, "little"))), "it is cut short at byte 9999"),
        (b"II*\0\x08\0\0\0\xff\xff", "it has a directory of 65535 entries"),
    ],
)
def test_hostile_directories_are_refused(data: bytes, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        read_directories(data, "it")
