"""Encoded files as other libraries read them: size, pixels, profile, and how each format was written."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, get_args

import numpy as np
import pytest
import tifffile
from PIL import Image, JpegImagePlugin

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB, RGBSpace
from pipeline.plan.rendition import OutputFormat
from pipeline.render.encode import encode
from pipeline.render.picture import Picture
from tests.render.charts import Array, delivered, image_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

FORMATS: tuple[OutputFormat, ...] = get_args(OutputFormat)
LOSSLESS: tuple[OutputFormat, ...] = ("png", "tiff")
LOSSY: tuple[OutputFormat, ...] = ("jpeg", "webp", "avif")
EACH = pytest.mark.parametrize("output_format", FORMATS)
QUALITY: dict[OutputFormat, int] = {"jpeg": 88, "webp": 82, "avif": 62, "png": 100, "tiff": 100}


def scene(width: int = 161, height: int = 117) -> NDArray[np.uint8]:
    """Return soft shapes with a little grain, as photographs have."""
    y, x = np.mgrid[0:height, 0:width] / 100
    soft = np.stack([np.sin(3 * x + y), np.cos(2 * x - y), np.sin(x * y * 4)], axis=-1)
    grain = np.random.default_rng(8).normal(0, 2, soft.shape)
    return np.clip(128 + 90 * soft + grain, 0, 255).astype(np.uint8)


def stripes() -> NDArray[np.uint8]:
    """Return red lines two pixels wide on grey of about the same luminance: colour detail only."""
    found = np.tile(np.array([127, 127, 127], np.uint8), (64, 96, 1))
    found[:, (np.arange(96) // 2) % 2 == 1] = (230, 50, 60)
    return found


def picture_of(array: Array, space: RGBSpace = SRGB) -> Picture:
    return Picture(image_of(array), space, 0.0)


def opened(data: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@EACH
@pytest.mark.parametrize("size", [(161, 117), (1, 1), (1, 40), (640, 3)])
def test_the_file_has_the_size_of_the_picture(output_format: OutputFormat, size: tuple[int, int]) -> None:
    data = encode(picture_of(scene(*size)), output_format, QUALITY[output_format])
    image = opened(data)
    assert size == image.size
    assert (image.mode, image.format) == ("RGB", output_format.upper())


@EACH
@pytest.mark.parametrize("space", [SRGB, ADOBE_RGB, DISPLAY_P3], ids=lambda space: space.name)
def test_the_profile_of_its_space_is_embedded(output_format: OutputFormat, space: RGBSpace) -> None:
    data = encode(picture_of(scene(), space), output_format, QUALITY[output_format])
    assert opened(data).info["icc_profile"] == write_matrix_profile(space)
    if output_format == "tiff":
        with tifffile.TiffFile(io.BytesIO(data)) as file:
            assert file.pages.first.tags[34675].value == write_matrix_profile(space)


@pytest.mark.parametrize("output_format", LOSSLESS)
def test_lossless_formats_keep_every_value(output_format: OutputFormat) -> None:
    np.testing.assert_array_equal(scene(), delivered(picture_of(scene()), output_format, 100))


def test_tiff_as_tifffile_reads_it() -> None:
    with tifffile.TiffFile(io.BytesIO(encode(picture_of(scene()), "tiff", 100))) as file:
        page = file.pages.first
        np.testing.assert_array_equal(scene(), page.asarray())
        assert (page.photometric.name, page.compression.name) == ("RGB", "LZW")
        assert len(file.pages) == 1


@pytest.mark.parametrize("output_format", LOSSY)
def test_lossy_formats_stay_close(output_format: OutputFormat) -> None:
    error = delivered(picture_of(scene()), output_format, QUALITY[output_format]).astype(float) - scene()
    # Peak signal to noise of 35 dB and more is good (common practice, no source); no shift of brightness or colour.
    assert 20 * np.log10(255 / error.std()) >= 35
    assert np.abs(error.mean(axis=(0, 1))).max() < 0.5


@pytest.mark.parametrize("output_format", LOSSY)
def test_quality_is_size(output_format: OutputFormat) -> None:
    sizes = [len(encode(picture_of(scene()), output_format, quality)) for quality in (20, 50, 80, 95)]
    assert sorted(set(sizes)) == sizes


@EACH
def test_the_same_bytes_each_time(output_format: OutputFormat) -> None:
    first, second = (encode(picture_of(scene(640, 480)), output_format, QUALITY[output_format]) for _ in range(2))
    assert first == second


@EACH
def test_nothing_but_picture_and_profile_is_written(output_format: OutputFormat) -> None:
    image = image_of(scene())
    for name, value in (("exif-data", b"Exif\0\0II*\0"), ("xmp-data", b"<x/>"), ("iptc-data", b"x")):
        image.set_type(_blob(), name, value)
    read = opened(encode(Picture(image, SRGB, 0.0), output_format, QUALITY[output_format]))
    assert set() == {"exif", "xmp", "photoshop", "comment"} & set(read.info)
    # 0x0112 and the resolution are what a TIFF always has; others are in the Exif directory.
    private = {0x010E, 0x013B, 0x8298, 0x0132, 0x0131, 0x8769, 0x8825, 700, 33723}
    assert set() == private & set(read.getexif())


def _blob() -> object:
    import pyvips  # noqa: PLC0415 (only its type number is needed)

    return pyvips.GValue.blob_type


def test_jpeg_is_progressive_with_full_chroma() -> None:
    image = opened(encode(picture_of(scene()), "jpeg", 88))
    assert isinstance(image, JpegImagePlugin.JpegImageFile)
    assert image.info["progressive"] == 1
    assert JpegImagePlugin.get_sampling(image) == 0  # Pillow's word for 4:4:4


def test_jpeg_for_paper_is_baseline() -> None:
    # Source: ITU-T T.81, table B.1: SOF0 (FFC0) is baseline, SOF2 (FFC2) progressive.
    frames = {
        progressive: [marker for marker in (b"\xff\xc0\x00\x11", b"\xff\xc2\x00\x11") if marker in data]
        for progressive in (True, False)
        if (data := encode(picture_of(scene()), "jpeg", 88, progressive=progressive))
    }
    assert frames == {True: [b"\xff\xc2\x00\x11"], False: [b"\xff\xc0\x00\x11"]}


def test_jpeg_chroma_can_be_halved() -> None:
    image = opened(encode(picture_of(scene()), "jpeg", 88, "4:2:0"))
    assert JpegImagePlugin.get_sampling(image) == 2  # Pillow's word for 4:2:0


@pytest.mark.parametrize("progressive", [True, False])
def test_jpeg_tables_are_made_for_the_picture(progressive: bool) -> None:  # noqa: FBT001 (a column of the table)
    """No larger than Pillow's with the same steps and optimised tables, whose own default tables are larger."""
    data = encode(picture_of(scene(640, 480)), "jpeg", 88, progressive=progressive)
    steps = opened(data).quantization  # type: ignore[attr-defined]
    sizes = []
    for optimised in (True, False):
        file = io.BytesIO()
        Image.fromarray(scene(640, 480)).save(
            file, "jpeg", qtables=steps, subsampling="4:4:4", optimize=optimised, progressive=progressive
        )
        sizes.append(len(file.getvalue()))
    profile = len(write_matrix_profile(SRGB)) + 18
    assert len(data) - profile <= 1.01 * sizes[0]
    assert progressive or sizes[0] < sizes[1]


def huffman_tables(jpeg: bytes) -> list[str]:
    """Return the Huffman tables of a JPEG (ITU-T T.81, B.2.4.2), in hex."""
    tables, at = [], 2
    while (marker := jpeg[at + 1]) != 0xDA:
        segment = jpeg[at + 4 : at + 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")]
        while marker == 0xC4 and segment:
            length = 17 + sum(segment[1:17])
            tables.append(segment[:length].hex())
            segment = segment[length:]
        at += 2 + int.from_bytes(jpeg[at + 2 : at + 4], "big")
    return tables


def test_the_standards_own_huffman_tables() -> None:
    """Source: ITU-T T.81, tables K.3 and K.4 (DC of luminance and chrominance); K.5 and K.6 by Pillow's plain files."""
    ours = encode(picture_of(scene(640, 480)), "jpeg", 88, progressive=False, tables="standard")
    luminance = "0000010501010101010100000000000000000102030405060708090a0b"
    chrominance = "0100030101010101010101010000000000000102030405060708090a0b"
    plain = io.BytesIO()
    Image.fromarray(scene(64, 64)).save(plain, "jpeg", optimize=False)
    assert {luminance, chrominance} < set(huffman_tables(ours)) == set(huffman_tables(plain.getvalue()))
    assert len(set(huffman_tables(ours))) == 4


def test_the_standards_tables_cost_bytes_and_no_pixel() -> None:
    picture = picture_of(scene(640, 480))
    standard = encode(picture, "jpeg", 88, progressive=False, tables="standard")
    fitted = encode(picture, "jpeg", 88, progressive=False, tables="fitted")
    assert b"\xff\xc0\x00\x11" in standard  # SOF0, baseline (ITU-T T.81, table B.1)
    assert JpegImagePlugin.get_sampling(opened(standard)) == 0  # Pillow's word for 4:4:4
    np.testing.assert_array_equal(np.asarray(opened(standard)), np.asarray(opened(fitted)))
    assert 1.01 < len(standard) / len(fitted) < 1.15


@pytest.mark.parametrize("output_format", ["jpeg", "avif"])
def test_fine_red_detail_keeps_its_colour(output_format: OutputFormat) -> None:
    ours = delivered(picture_of(stripes()), output_format, QUALITY[output_format]).astype(float)
    halved = io.BytesIO()
    Image.fromarray(stripes()).save(halved, output_format, quality=QUALITY[output_format], subsampling="4:2:0")
    theirs = np.asarray(opened(halved.getvalue()).convert("RGB"), dtype=np.float64)
    contrast = [float(np.ptp(found[32].mean(axis=-1) - found[32, :, 1])) for found in (stripes(), ours, theirs)]
    assert contrast[1] >= 0.9 * contrast[0]
    assert contrast[2] < contrast[1]


def test_webp_is_lossy_and_opaque() -> None:
    data = encode(picture_of(scene()), "webp", 82)
    # Source: WebP container specification: `VP8 ` is a lossy frame, VP8X's flag 0x10 is alpha, 0x20 a profile.
    assert data[12:16] == b"VP8X"
    assert data[20] & 0x30 == 0x20
    assert b"VP8 " in data
    assert b"VP8L" not in data[:600]


def test_avif_holds_8_bits_at_full_chroma() -> None:
    data = encode(picture_of(scene()), "avif", 62)
    # Source: AV1 ISOBMFF 2.3.3: av1C's third byte, from high bit on: tier, high_bitdepth, twelve_bit, monochrome,
    # chroma_subsampling_x, chroma_subsampling_y, then the sample position.
    at = data.index(b"av1C") + 4
    assert data[at] == 0x81
    assert data[at + 2] & 0b0111_1100 == 0


@pytest.mark.parametrize("output_format", LOSSLESS)
def test_lossless_files_are_smaller_than_their_pixels(output_format: OutputFormat) -> None:
    flat = np.repeat(scene(640, 480)[:, :, :1] // 8 * 8, 3, axis=2)
    assert len(encode(picture_of(flat), output_format, 100)) < flat.nbytes / 2
