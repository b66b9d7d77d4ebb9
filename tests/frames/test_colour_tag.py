"""Colour that a frame names without an ICC profile, and which statement comes first."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING

import piexif
import pytest
from PIL import ImageCms

from pipeline.frames.boxes import Nclx
from pipeline.frames.colour_tag import code_points, tagged_profile
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB
from tests.frames.files import encoded, noise, with_chunk

if TYPE_CHECKING:
    from pipeline.frames.header import FrameFormat

PNG = encoded(noise(), "PNG")
AVIF = encoded(noise(), "AVIF")
OTHER = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()  # stands for an embedded profile


def with_codes(primaries: int, transfer: int) -> bytes:
    """Return the AVIF with other code points in its one nclx box (1, 13 as Pillow writes it)."""
    assert AVIF.count(b"nclx" + struct.pack(">HH", 1, 13)) == 1
    return AVIF.replace(b"nclx" + struct.pack(">HH", 1, 13), b"nclx" + struct.pack(">HH", primaries, transfer))


def tagged(data: bytes, frame_format: FrameFormat, embedded: bytes | None = None) -> bytes | None:
    return tagged_profile(io.BytesIO(data), frame_format, embedded, None)


def test_nothing_said_is_untagged() -> None:
    assert tagged(PNG, "png") is None
    assert tagged(encoded(noise(), "JPEG"), "jpeg") is None
    assert tagged(with_codes(2, 2), "avif") is None  # 2 is "unspecified" in H.273


def test_an_embedded_profile_is_kept_as_it_is() -> None:
    assert tagged(PNG, "png", OTHER) == OTHER


@pytest.mark.parametrize(("codes", "space"), [((12, 13), DISPLAY_P3), ((1, 13), SRGB)])
def test_code_points_of_known_spaces(codes: tuple[int, int], space: object) -> None:
    expected = write_matrix_profile(space)  # type: ignore[arg-type]
    png = with_chunk(PNG, b"cICP", bytes([*codes, 0, 1]))
    assert expected == tagged(png, "png")
    assert expected == tagged(with_codes(*codes), "avif")
    assert Nclx(*codes) == code_points(io.BytesIO(png), "png") == code_points(io.BytesIO(with_codes(*codes)), "avif")


def test_cicp_comes_before_iccp_in_png() -> None:
    # PNG 3rd edition 4.3: cICP, iCCP, sRGB, cHRM and gAMA, in this order.
    png = with_chunk(PNG, b"cICP", bytes([12, 13, 0, 1]))
    assert write_matrix_profile(DISPLAY_P3) == tagged(png, "png", OTHER)


def test_iccp_comes_before_the_srgb_chunk_in_png() -> None:
    png = with_chunk(PNG, b"sRGB", b"\0")
    assert tagged(png, "png", OTHER) == OTHER
    assert write_matrix_profile(SRGB) == tagged(png, "png")


def test_the_profile_of_an_avif_comes_before_its_code_points() -> None:
    assert tagged(with_codes(12, 13), "avif", OTHER) == OTHER


def test_a_chunk_after_the_picture_data_does_not_count() -> None:
    end = PNG.rindex(b"IEND") - 4
    chunk = struct.pack(">I", 4) + b"cICP" + bytes([12, 13, 0, 1])
    assert tagged(PNG[:end] + chunk + struct.pack(">I", zlib.crc32(chunk[4:])) + PNG[end:], "png") is None


@pytest.mark.parametrize(("index", "tag"), [(b"R03", True), (b"R98", False)])
def test_the_optional_space_of_dcf_is_adobe_rgb(index: bytes, *, tag: bool) -> None:
    exif = piexif.dump({"Exif": {piexif.ExifIFD.ColorSpace: 0xFFFF}, "Interop": {1: index}})
    found = tagged_profile(io.BytesIO(encoded(noise(), "JPEG", exif=exif)), "jpeg", None, exif)
    assert (write_matrix_profile(ADOBE_RGB) if tag else None) == found
