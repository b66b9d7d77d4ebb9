"""Decoded pixels against Pillow, numpy and tifffile: upright, whole, in their own space, or not at all."""

from __future__ import annotations

import io
import struct
import zlib
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import pyvips
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from pipeline.faults import FrameUnreadable
from pipeline.frames.pixels import (
    BROKEN_PROFILE,
    EXTRA_LEFT_OUT,
    LAID_ON_WHITE,
    OTHER_PROFILE,
    TAKEN_AS_SRGB,
    Pixels,
    _on_white,
    decode,
)
from pipeline.frames.read_header import read_header
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, SRGB
from tests.frames.files import (
    LETTER,
    LIMIT,
    dng,
    encoded,
    letters,
    mosaic,
    noise,
    png_chunk,
    put,
    sentence,
    turned,
    with_chunk,
)

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

NAME = "selects/frame.jpg"
SRGB_PROFILE = write_matrix_profile(SRGB)


def decoded(path: Path) -> Pixels:
    return decode(read_header(path, name=NAME, pixel_limit=LIMIT), name=NAME)


def array(pixels: Pixels) -> NDArray[Any]:
    return np.asarray(pixels.image.numpy())


def refusal(path: Path) -> str:
    with pytest.raises(FrameUnreadable, match=r"^selects/frame\.jpg: ") as caught:
        decoded(path)
    return sentence(caught.value)


def grey_profile() -> bytes:
    """Return a minimal v2 grey display profile with gamma 2.2. Source: ICC.1:2001-04, from memory."""
    white = b"XYZ \0\0\0\0" + struct.pack(">3i", 63190, 65536, 54061)
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, int(2.2 * 256)) + b"\0\0"
    words = b"grey\0"
    name = b"desc\0\0\0\0" + struct.pack(">I", len(words)) + words + b"\0" * (12 + 67)
    name += b"\0" * (-len(name) % 4)
    note = b"text\0\0\0\0none\0\0\0\0"
    parts = [(b"desc", name), (b"wtpt", white), (b"kTRC", curve), (b"cprt", note)]
    at, table, body = 128 + 4 + 12 * len(parts), struct.pack(">I", len(parts)), b""
    for signature, data in parts:
        table += struct.pack(">4sII", signature, at + len(body), len(data))
        body += data
    head = struct.pack(">I4sI4s4s4s", at + len(body), b"\0" * 4, 0x02100000, b"mntr", b"GRAY", b"XYZ ") + b"\0" * 12
    head += b"acsp" + b"\0" * 28 + struct.pack(">3i", 63190, 65536, 54061)
    return head.ljust(128, b"\0") + table + body


# Upright.


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("kind", "settings"), [("PNG", {}), ("TIFF", {}), ("WEBP", {"lossless": True}), ("JPEG", {"quality": 95})]
)
def test_all_eight_orientations_as_pillow_turns_them(
    tmp_path: Path, kind: str, settings: dict[str, Any], orientation: int
) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    path = put(tmp_path, "frame", encoded(letters(LETTER, 16), kind, exif=exif, **settings))
    got = array(decoded(path))
    with Image.open(path) as image:
        expected = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    assert expected.shape == got.shape
    assert np.abs(expected.astype(int) - got).max() <= (2 if kind == "JPEG" else 0)
    assert np.array_equal(turned(letters(LETTER), orientation)[0, 0] > 127, got[8, 8] > 127)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_an_avif_is_turned_once_by_its_container(tmp_path: Path, orientation: int) -> None:
    # Pillow writes orientation as irot and imir boxes. A second statement in Exif is put there by hand:
    # ResolutionUnit 6 becomes Orientation 6 by its tag number.
    exif = Image.Exif()
    exif[0x0112], exif[0x0128] = orientation, 6
    data = encoded(letters(LETTER, 16), "AVIF", exif=exif, quality=95, subsampling="4:4:4")
    field = b"\x01\x28\0\x03\0\0\0\x01\0\x06"
    assert data.count(field) == 1
    path = put(tmp_path, "frame", data.replace(field, b"\x01\x12" + field[2:]))
    assert decoded_exif_orientation(path) == 6
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    got = array(decode(header, name=NAME))
    expected = turned(letters(LETTER, 16), orientation)
    assert header.orientation == 1
    assert expected.shape == got.shape
    assert (header.size.height, header.size.width) == got.shape[:2]
    assert np.abs(expected[8::16, 8::16].astype(int) - got[8::16, 8::16]).max() < 24


def decoded_exif_orientation(path: Path) -> int:
    """Return what libvips finds as Exif orientation in the block itself, so that the trap is known to be set."""
    block = pyvips.Image.heifload(str(path)).get("exif-data")
    exif = Image.Exif()
    exif.load(block)
    return int(exif[0x0112])


# Bands and bits.


@pytest.mark.parametrize("bits", [1, 2, 4, 8])
def test_a_palette_is_expanded(tmp_path: Path, bits: int) -> None:
    image = Image.fromarray(noise()).quantize(2**bits)
    out = io.BytesIO()
    image.save(out, "PNG", bits=bits)
    got = array(decoded(put(tmp_path, "frame", out.getvalue())))
    assert got.dtype == np.uint8
    assert np.array_equal(np.asarray(image.convert("RGB")), got)


def test_a_tiff_palette_is_expanded(tmp_path: Path) -> None:
    image = Image.fromarray(noise()).quantize(16)
    image.save(tmp_path / "frame.tif")
    assert np.array_equal(np.asarray(image.convert("RGB")), array(decoded(tmp_path / "frame.tif")))


@pytest.mark.parametrize("bits", [1, 2, 4, 8])
def test_grey_of_few_bits_spans_the_whole_range(tmp_path: Path, bits: int) -> None:
    # PNG 3rd edition 13.12: sample depth scaling, value * (2^8 - 1) / (2^bits - 1).
    values = np.arange(2**bits, dtype=np.uint8)
    packed = np.packbits(((values[:, None] >> np.arange(bits - 1, -1, -1)) & 1).astype(np.uint8).ravel()).tobytes()
    head = struct.pack(">IIBBBBB", len(values), 1, bits, 0, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", head)
    data += png_chunk(b"IDAT", zlib.compress(b"\0" + packed)) + png_chunk(b"IEND", b"")
    pixels = decoded(put(tmp_path, "frame.png", data))
    assert np.array_equal(np.rint(values * 255.0 / (2**bits - 1)), array(pixels)[0, :, 0])


@pytest.mark.parametrize("polarity", ["minisblack", "miniswhite"])
def test_line_art_of_one_bit(tmp_path: Path, polarity: Any) -> None:  # noqa: ANN401
    bits = noise(8, 16, bands=1) > 128
    tifffile.imwrite(tmp_path / "frame.tif", bits, photometric=polarity)
    expected = np.where(bits if polarity == "minisblack" else ~bits, 255, 0)
    assert np.array_equal(expected, array(decoded(tmp_path / "frame.tif"))[..., 0])


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_sixteen_bits_stay_sixteen_bits(tmp_path: Path, byteorder: Any, compression: str | None) -> None:  # noqa: ANN401
    stored = noise(dtype=np.uint16)
    tifffile.imwrite(
        tmp_path / "frame.tif",
        stored,
        byteorder=byteorder,
        photometric="rgb",
        compression=compression,
        predictor=True if compression else None,
    )
    got = array(decoded(tmp_path / "frame.tif"))
    assert got.dtype == np.uint16
    assert np.array_equal(stored, got)


def test_a_sixteen_bit_png_stays_so(tmp_path: Path) -> None:
    stored = noise(dtype=np.uint16)
    pyvips.Image.new_from_array(stored).copy(interpretation="rgb16").pngsave(str(tmp_path / "frame.png"))
    assert np.array_equal(stored, array(decoded(tmp_path / "frame.png")))


@pytest.mark.parametrize("bits", [10, 12])
def test_white_of_a_deep_avif_is_white(tmp_path: Path, bits: int) -> None:
    steps = np.linspace(0, 65535, 5).astype(np.uint16)
    stored = np.repeat(np.repeat(steps[None, :, None], 3, axis=2), 16, axis=0).repeat(16, axis=1)
    image = pyvips.Image.new_from_array(stored).copy(interpretation="rgb16")
    image.heifsave(str(tmp_path / "frame.avif"), compression="av1", bitdepth=bits, lossless=True)
    got = array(decoded(tmp_path / "frame.avif"))
    assert got.dtype == np.uint16
    assert (got[8, 8] == 0).all()
    assert (got[8, -8] == 65535).all()
    assert np.abs(got[8, 8::16, 0].astype(int) - steps).max() <= 65535 / (2**bits - 1)


# Transparency.


@given(level=st.integers(0, 65535), cover=st.integers(0, 65535), deep=st.booleans(), cmyk=st.booleans())
def test_laying_on_white_is_the_formula_rounded(level: int, cover: int, *, deep: bool, cmyk: bool) -> None:
    white = 65535 if deep else 255
    level, cover = (level, cover) if deep else (level >> 8, cover >> 8)
    colour = 4 if cmyk else 3
    kind = "cmyk" if cmyk else ("rgb16" if deep else "srgb")
    pixel = np.full((1, 1, colour + 1), level, np.uint16 if deep else np.uint8)
    pixel[..., colour] = cover
    got = _on_white(pyvips.Image.new_from_array(pixel).copy(interpretation=kind), colour).numpy()
    # Porter and Duff's "over", paper below: a * C + (1 - a) * paper, exactly in whole numbers.
    numerator = level * cover + (0 if cmyk else white) * (white - cover)
    assert got.shape[-1] == colour
    assert abs(int(got[0, 0, 0]) * white - numerator) * 2 <= white


@pytest.mark.parametrize("kind", ["PNG", "WEBP", "TIFF"])
def test_transparent_parts_are_laid_on_white_and_said(tmp_path: Path, kind: str) -> None:
    stored = noise(bands=4)
    stored[:8, :, 3], stored[8:16, :, 3] = 0, 255
    settings = {"lossless": True, "exact": True} if kind == "WEBP" else {}
    pixels = decoded(put(tmp_path, "frame", encoded(stored, kind, **settings)))
    with Image.open(io.BytesIO(encoded(stored, "PNG"))) as image:
        expected = np.asarray(Image.alpha_composite(Image.new("RGBA", image.size, "white"), image))[..., :3]
    assert pixels.notes == (TAKEN_AS_SRGB, LAID_ON_WHITE)
    assert (array(pixels)[:8] == 255).all()
    assert np.array_equal(stored[8:16, :, :3], array(pixels)[8:16])
    assert np.abs(expected.astype(int) - array(pixels)).max() <= 1


def test_transparency_of_sixteen_bits(tmp_path: Path) -> None:
    stored = noise(bands=4, dtype=np.uint16)
    pyvips.Image.new_from_array(stored).copy(interpretation="rgb16").pngsave(str(tmp_path / "frame.png"))
    pixels = decoded(tmp_path / "frame.png")
    cover = stored[..., 3:] / 65535
    expected = stored[..., :3] * cover + 65535 * (1 - cover)
    assert array(pixels).dtype == np.uint16
    assert np.abs(expected - array(pixels)).max() <= 0.5 + 1e-6
    assert LAID_ON_WHITE in pixels.notes


def test_premultiplied_transparency(tmp_path: Path) -> None:
    cover = noise(bands=1)
    premultiplied = np.minimum(noise(bands=4), cover[..., None])
    premultiplied[..., 3] = cover
    tifffile.imwrite(tmp_path / "frame.tif", premultiplied, photometric="rgb", extrasamples=["assocalpha"])
    expected = premultiplied[..., :3] + (255 - cover[..., None].astype(int))
    assert np.abs(expected - array(decoded(tmp_path / "frame.tif"))).max() <= 1


def test_an_opaque_picture_with_a_transparency_band_needs_no_note(tmp_path: Path) -> None:
    stored = noise(bands=4)
    stored[..., 3] = 255
    pixels = decoded(put(tmp_path, "frame", encoded(stored, "PNG")))
    assert pixels.notes == (TAKEN_AS_SRGB,)
    assert np.array_equal(stored[..., :3], array(pixels))


def test_a_transparent_avif(tmp_path: Path) -> None:
    stored = np.zeros((32, 32, 4), np.uint8)
    stored[:16, :, 3] = 255
    pixels = decoded(put(tmp_path, "frame", encoded(stored, "AVIF", quality=95)))
    assert LAID_ON_WHITE in pixels.notes
    assert array(pixels)[4, 4].max() < 8
    assert array(pixels)[28, 28].min() > 247


def test_a_mask_is_left_out_and_said(tmp_path: Path) -> None:
    stored = noise(bands=4)
    tifffile.imwrite(tmp_path / "frame.tif", stored, photometric="rgb", extrasamples=["unspecified"])
    pixels = decoded(tmp_path / "frame.tif")
    assert pixels.notes == (TAKEN_AS_SRGB, EXTRA_LEFT_OUT)
    assert np.array_equal(stored[..., :3], array(pixels))


# Colour.


def test_an_embedded_profile_goes_with_the_pixels(tmp_path: Path) -> None:
    icc_profile = write_matrix_profile(ADOBE_RGB)
    for kind in ("JPEG", "PNG", "WEBP", "AVIF", "TIFF"):
        pixels = decoded(put(tmp_path, "frame", encoded(noise(), kind, icc_profile=icc_profile)))
        assert (pixels.icc_profile, pixels.notes) == (icc_profile, ())


def test_untagged_rgb_is_taken_as_srgb_and_said(tmp_path: Path) -> None:
    pixels = decoded(put(tmp_path, "frame", encoded(noise(), "PNG")))
    assert (pixels.icc_profile, pixels.notes) == (SRGB_PROFILE, (TAKEN_AS_SRGB,))


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_untagged_grey_becomes_srgb(tmp_path: Path, dtype: Any) -> None:  # noqa: ANN401
    stored = noise(bands=1, dtype=dtype)
    pixels = decoded(put(tmp_path, "frame", encoded(stored, "PNG")))
    assert (pixels.icc_profile, pixels.notes) == (SRGB_PROFILE, (TAKEN_AS_SRGB,))
    assert np.array_equal(np.repeat(stored[..., None], 3, axis=2), array(pixels))


def test_grey_with_its_own_profile_stays_grey(tmp_path: Path) -> None:
    icc_profile, stored = grey_profile(), noise(bands=1)
    pixels = decoded(put(tmp_path, "frame", encoded(stored, "TIFF", icc_profile=icc_profile)))
    assert (pixels.icc_profile, pixels.notes, pixels.image.bands) == (icc_profile, (), 1)
    assert np.array_equal(stored, array(pixels))


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_cmyk_without_a_profile_is_refused(tmp_path: Path, kind: str) -> None:
    out = io.BytesIO()
    Image.fromarray(noise()).convert("CMYK").save(out, kind)
    text = refusal(put(tmp_path, "frame", out.getvalue()))
    assert "is CMYK without an ICC profile" in text
    assert "export it with its CMYK profile embedded, or as RGB" in text


def test_cmyk_with_a_profile_for_rgb_is_refused(tmp_path: Path) -> None:
    out = io.BytesIO()
    Image.fromarray(noise()).convert("CMYK").save(out, "TIFF", icc_profile=SRGB_PROFILE)
    assert "is CMYK with an ICC profile for another kind of picture" in refusal(put(tmp_path, "frame", out.getvalue()))


@pytest.mark.parametrize(
    ("icc_profile", "note"),
    [
        (b"this is no profile at all" * 20, BROKEN_PROFILE),
        (SRGB_PROFILE[:300], BROKEN_PROFILE),
        (SRGB_PROFILE.replace(b"rTRC", b"xTRC"), BROKEN_PROFILE),
        (grey_profile(), OTHER_PROFILE),
    ],
)
def test_a_profile_that_cannot_be_used_is_said(tmp_path: Path, icc_profile: bytes, note: str) -> None:
    pixels = decoded(put(tmp_path, "frame", encoded(noise(), "TIFF", icc_profile=icc_profile)))
    assert pixels.icc_profile == SRGB_PROFILE
    assert pixels.notes == (note,)


@pytest.mark.parametrize(("kind", "settings"), [("JPEG", {"quality": 100}), ("TIFF", {})])
def test_cmyk_values_are_ink(
    tmp_path: Path, kind: str, settings: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    # No free CMYK profile is at hand, so the check of the profile is left out and the values alone are compared.
    monkeypatch.setattr("pipeline.frames.pixels._is_usable", lambda *_: True)
    stored = np.zeros((16, 16, 4), np.uint8)
    stored[:8, :, 0], stored[8:, :, 3] = 255, 255
    image = Image.merge("CMYK", [Image.fromarray(stored[..., band]) for band in range(4)])
    image.save(tmp_path / "frame", kind, icc_profile=SRGB_PROFILE, **settings)
    pixels = decoded(tmp_path / "frame")
    assert pixels.image.interpretation == "cmyk"
    assert np.abs(stored.astype(int) - array(pixels)).max() <= 2


# Whole or not at all.


@pytest.mark.parametrize(
    ("kind", "settings"),
    [
        ("JPEG", {}),
        ("JPEG", {"progressive": True}),
        ("PNG", {}),
        ("WEBP", {"lossless": True}),
        ("WEBP", {}),
        ("TIFF", {}),
        ("TIFF", {"compression": "tiff_lzw"}),
        ("TIFF", {"compression": "jpeg"}),
        ("AVIF", {}),
    ],
)
@pytest.mark.parametrize("share", [0.5, 0.9, 0.999])
def test_a_frame_cut_short_is_refused(tmp_path: Path, kind: str, settings: dict[str, Any], share: float) -> None:
    data = encoded(np.kron(noise(40, 60), np.ones((8, 8, 1), np.uint8)), kind, **settings)
    assert array(decoded(put(tmp_path, "whole", data))).shape == (320, 480, 3)
    assert "cut short" in refusal(put(tmp_path, "frame", data[: int(len(data) * share)]))


def test_a_raw_cut_short_is_refused(tmp_path: Path) -> None:
    data = dng(mosaic(np.full((64, 96, 3), 0.2)))
    assert "cut short" in refusal(put(tmp_path, "frame", data[: len(data) // 2]))


def test_a_jpeg_with_a_hole_in_its_data_is_refused(tmp_path: Path) -> None:
    data = bytearray(encoded(np.kron(noise(40, 60), np.ones((8, 8, 1), np.uint8)), "JPEG"))
    middle = len(data) // 2
    data[middle : middle + 2] = b"\xff\xd9"  # an end mark in the middle: decoders fill the rest with grey
    assert "is damaged" in refusal(put(tmp_path, "frame", bytes(data)))


def test_a_png_with_a_wrong_check_sum_is_refused(tmp_path: Path) -> None:
    data = bytearray(encoded(noise(), "PNG"))
    data[data.index(b"IDAT") + 300] ^= 0xFF
    assert "is damaged" in refusal(put(tmp_path, "frame", bytes(data)))


def test_a_frame_that_changed_since_its_header_was_read(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.png", encoded(noise(48, 64), "PNG"))
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    put(tmp_path, "frame.png", encoded(noise(64, 48), "PNG"))
    with pytest.raises(FrameUnreadable, match="has changed since its header was read; run again"):
        decode(header, name=NAME)
    path.unlink()
    with pytest.raises(FrameUnreadable, match="is not there"):
        decode(header, name=NAME)


def test_pixels_live_in_memory_and_carry_nothing_of_the_file(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112], exif[0x010F] = 6, "Invented Optics"
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = encoded(letters(LETTER, 16), "JPEG", exif=exif, icc_profile=profile, xmp=b"<x:xmpmeta/>", comment=b"private")
    path = put(tmp_path, "frame.jpg", data)
    pixels = decoded(path)
    path.unlink()
    assert array(pixels).shape == (5 * 16, 7 * 16, 3)
    plain = set(pyvips.Image.black(1, 1).get_fields()) | {"filename"}
    assert set(pixels.image.get_fields()) <= plain


def test_the_first_of_several_pictures_is_taken_and_said(tmp_path: Path) -> None:
    first, second = noise(), 255 - noise()
    tifffile.imwrite(tmp_path / "frame.tif", np.stack([first, second]), photometric="rgb")
    pixels = decoded(tmp_path / "frame.tif")
    assert pixels.notes == (TAKEN_AS_SRGB, "the first of 2 pictures in the file taken")
    assert np.array_equal(first, array(pixels))


def test_code_points_choose_the_profile(tmp_path: Path) -> None:
    data = with_chunk(encoded(noise(), "PNG"), b"cICP", bytes([12, 13, 0, 1]))
    pixels = decoded(put(tmp_path, "frame", data))
    name = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(pixels.icc_profile)))
    assert name.strip() == "Display P3"
    assert pixels.notes == ()
