"""Headers of every format, and one clear sentence for everything that is no frame."""

from __future__ import annotations

import io
import os
import pickle
import struct
from typing import TYPE_CHECKING, Any

import numpy as np
import piexif
import pytest
import pyvips
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline.faults import FrameUnreadable
from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.read_header import read_header
from pipeline.light.box import Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import DISPLAY_P3, SRGB
from tests.frames.files import LIMIT, dng, encoded, mosaic, noise, png_chunk, put, sentence, tiff_of, with_chunk

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NAME = "selects/frame.jpg"
ICC = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def read(path: Path, pixel_limit: int = LIMIT) -> Header:
    return read_header(path, name=NAME, pixel_limit=pixel_limit)


def refusal(path: Path, pixel_limit: int = LIMIT) -> str:
    with pytest.raises(FrameUnreadable, match=r"^selects/frame\.jpg: ") as caught:
        read(path, pixel_limit)
    return sentence(caught.value)


@pytest.mark.parametrize(
    ("kind", "expected"), [("JPEG", "jpeg"), ("PNG", "png"), ("WEBP", "webp"), ("AVIF", "avif"), ("TIFF", "tiff")]
)
def test_header_of_each_format_under_a_wrong_name(tmp_path: Path, kind: str, expected: str) -> None:
    path = put(tmp_path, "frame.txt", encoded(noise(48, 64), kind, icc_profile=ICC))
    header = read(path)
    assert header == Header(
        path=path,
        format=expected,  # type: ignore[arg-type]
        size=Size(64, 48),
        orientation=1,
        bands=3,
        bits=8,
        alpha=False,
        icc_profile=ICC,
        camera=CameraFacts(),
    )


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "TIFF"])
@pytest.mark.parametrize("orientation", range(1, 9))
def test_size_is_upright(tmp_path: Path, kind: str, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    header = read(put(tmp_path, "frame", encoded(noise(48, 64), kind, exif=exif)))
    assert header.orientation == orientation
    assert header.size == (Size(48, 64) if orientation >= 5 else Size(64, 48))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "AVIF", "TIFF"])
def test_camera_facts_of_each_format(tmp_path: Path, kind: str) -> None:
    exif = Image.Exif()
    exif[0x010F] = "Invented Optics"
    exif.get_ifd(0x8769).update({0x8827: 800, 0x9003: "2026:09:12 10:24:31", 0x9011: "+02:00", 0xA431: "123"})
    exif.get_ifd(0x8825).update({1: "N", 2: (48.0, 12.0, 0.0)})
    camera = read(put(tmp_path, "frame", encoded(noise(), kind, exif=exif.tobytes()))).camera
    expected = CameraFacts(
        make="Invented Optics", iso=800, taken="2026-09-12T10:24:31+02:00", position=True, serials=True
    )
    assert camera == expected


@pytest.mark.parametrize(
    ("mode", "kind", "expected"),  # bands, bits, alpha
    [
        ("1", "PNG", (1, 1, False)),
        ("L", "PNG", (1, 8, False)),
        ("LA", "PNG", (2, 8, True)),
        ("P", "PNG", (4, 8, True)),  # the palette holds transparency
        ("RGB", "PNG", (3, 8, False)),
        ("RGBA", "PNG", (4, 8, True)),
        ("I;16", "PNG", (1, 16, False)),
        ("1", "TIFF", (1, 1, False)),
        ("L", "TIFF", (1, 8, False)),
        ("I;16", "TIFF", (1, 16, False)),
        ("CMYK", "TIFF", (4, 8, False)),
        ("CMYK", "JPEG", (4, 8, False)),
        ("L", "JPEG", (1, 8, False)),
        ("RGBA", "WEBP", (4, 8, True)),
    ],
)
def test_bands_bits_and_alpha(tmp_path: Path, mode: str, kind: str, expected: tuple[int, int, bool]) -> None:
    image = Image.fromarray(noise(bands=4)).convert("L" if mode == "I;16" else mode)
    if mode == "I;16":
        image = Image.fromarray(noise(bands=1, dtype=np.uint16))
    out = io.BytesIO()
    image.save(out, kind)
    header = read(put(tmp_path, "frame", out.getvalue()))
    assert (header.bands, header.bits, header.alpha) == expected


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_bits_of_an_avif(tmp_path: Path, bits: int) -> None:
    image = pyvips.Image.new_from_array(noise(dtype=np.uint16)).copy(interpretation="rgb16")
    header = read(put(tmp_path, "frame", image.heifsave_buffer(compression="av1", bitdepth=bits)))
    assert header.bits == bits


@pytest.mark.parametrize(("extra", "alpha"), [("unassalpha", True), ("assocalpha", True), ("unspecified", False)])
def test_a_mask_in_a_tiff_is_no_transparency(tmp_path: Path, extra: Any, *, alpha: bool) -> None:  # noqa: ANN401
    tifffile.imwrite(tmp_path / "frame.tif", noise(bands=4), photometric="rgb", extrasamples=[extra])
    header = read(tmp_path / "frame.tif")
    assert (header.bands, header.alpha) == (4, alpha)


def test_colour_without_a_profile_that_the_file_names(tmp_path: Path) -> None:
    png = encoded(noise(), "PNG")
    assert read(put(tmp_path, "a.png", png)).icc_profile is None
    named = with_chunk(png, b"cICP", bytes([12, 13, 0, 1]))
    assert read(put(tmp_path, "b.png", named)).icc_profile == write_matrix_profile(DISPLAY_P3)
    assert read(put(tmp_path, "c.avif", encoded(noise(), "AVIF"))).icc_profile == write_matrix_profile(SRGB)


@pytest.mark.parametrize("transfer", [16, 18])
def test_a_picture_for_hdr_screens_is_refused(tmp_path: Path, transfer: int) -> None:
    png = with_chunk(encoded(noise(), "PNG"), b"cICP", bytes([9, transfer, 0, 1]))
    assert "is coded for HDR screens" in refusal(put(tmp_path, "frame.png", png))


# What is no frame.


def test_an_empty_file(tmp_path: Path) -> None:
    assert "is empty (0 bytes)" in refusal(put(tmp_path, "frame.jpg", b""))


def test_a_text_file_named_jpg(tmp_path: Path) -> None:
    text = refusal(put(tmp_path, "frame.jpg", b"Tomatoes, white beans, sage.\n"))
    assert "it looks like a text file" in text
    assert "JPEG, TIFF, PNG, WebP, AVIF, HEIC or camera raw" in text


def test_a_folder_and_a_missing_file(tmp_path: Path) -> None:
    assert "is a folder" in refusal(tmp_path)
    assert "is not there" in refusal(tmp_path / "nothing.jpg")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "frame.jpg")
    assert "is not an ordinary file" in refusal(tmp_path / "frame.jpg")


def test_a_file_that_may_not_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path, "frame.jpg", b"x")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    assert "cannot be opened (permission denied)" in refusal(path)


def test_a_heic_without_a_picture_in_it(tmp_path: Path) -> None:
    text = refusal(put(tmp_path, "frame.jpg", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + b"\0" * 50))
    assert "is a HEIC whose header is cut short or damaged" in text


@pytest.mark.parametrize(
    ("start", "words"),
    [(b"\0\x01\x02\x03", "nothing known here"), (b"%PDF-1.7", "a PDF document"), (b"GIF89a", "a GIF")],
)
def test_other_content(tmp_path: Path, start: bytes, words: str) -> None:
    assert words in refusal(put(tmp_path, "frame.jpg", start + bytes(range(100))))


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP", "AVIF", "TIFF"])
@pytest.mark.parametrize("length", [12, 20, 28])
def test_a_header_cut_short(tmp_path: Path, kind: str, length: int) -> None:
    data = encoded(noise(), kind, **({"compression": "tiff_lzw"} if kind == "TIFF" else {}))
    text = refusal(put(tmp_path, "frame.jpg", data[:length]))
    assert "header is cut short or damaged" in text or "is cut short: part of the picture is missing" in text


@pytest.mark.parametrize("length", [12, 100, 300])
def test_a_raw_header_cut_short(tmp_path: Path, length: int) -> None:
    data = dng(mosaic(np.full((32, 48, 3), 0.2)))
    text = refusal(put(tmp_path, "frame.jpg", data[:length]))
    assert "cut short" in text or "camera raw" in text


# Claims of too many pixels, each a small file.


def png_bomb() -> bytes:
    """Return half a megabyte that claims 65536 x 65536 pixels of one bit."""
    head = struct.pack(">IIBBBBB", 65536, 65536, 1, 0, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", head) + png_chunk(b"IDAT", b"x" * 500_000) + png_chunk(b"IEND", b"")
    )


def jpeg_bomb() -> bytes:
    data = bytearray(encoded(noise(), "JPEG"))
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", 65500, 65500)
    return bytes(data)


def webp_bomb() -> bytes:
    data = bytearray(encoded(noise(), "WEBP", icc_profile=ICC))
    assert data[12:16] == b"VP8X"
    data[24:30] = (65535).to_bytes(3, "little") * 2
    return bytes(data)


def avif_bomb() -> bytes:
    data = encoded(noise(48, 64), "AVIF")
    size = b"ispe\0\0\0\0"
    return data.replace(size + struct.pack(">II", 64, 48), size + struct.pack(">II", 65536, 65536))


def tiff_bomb() -> bytes:
    fields = [(256, 4, 1, 65536), (257, 4, 1, 65536), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1), (277, 3, 1, 1)]
    return tiff_of([*fields, (273, 4, 1, 200), (278, 4, 1, 65536), (279, 4, 1, 10)], tail=b"\0" * 300)


def dng_bomb() -> bytes:
    data = dng(mosaic(np.full((32, 48, 3), 0.2)))
    for tag, now in ((256, 48), (257, 32), (322, 48), (323, 32)):
        for code in ("HHII", "HHIH"):
            old = struct.pack(f"<{code}", tag, 4 if code == "HHII" else 3, 1, now)
            new = struct.pack(f"<{code}", tag, 4 if code == "HHII" else 3, 1, 60000)
            data = data.replace(old, new)
    return data


@pytest.mark.parametrize("bomb", [png_bomb, jpeg_bomb, webp_bomb, avif_bomb, tiff_bomb, dng_bomb])
def test_a_claim_above_the_limit_is_refused_before_decoding(tmp_path: Path, bomb: Callable[[], bytes]) -> None:
    data = bomb()
    assert len(data) < 600_000
    text = refusal(put(tmp_path, "frame.jpg", data))
    assert "megapixels), more than the limit of 200 megapixels" in text
    assert "`pixel_limit` in the job" in text


def test_the_message_has_all_numbers(tmp_path: Path) -> None:
    text = refusal(put(tmp_path, "frame.jpg", png_bomb()))
    assert text == (
        "selects/frame.jpg: claims 65536 x 65536 pixels (4295 megapixels), more than the limit of 200 megapixels; "
        "if it really is that large, raise `pixel_limit` in the job above 4294967296 (it is 200000000)"
    )


def test_the_limit_itself_is_allowed(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.png", encoded(noise(48, 64), "PNG"))
    assert read(path, 48 * 64).size == Size(64, 48)
    assert "more than the limit" in refusal(path, 48 * 64 - 1)


def test_no_decoder_is_asked_for_a_bomb(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        pytest.fail("a decoder was asked")

    monkeypatch.setattr("pipeline.frames.read_header.open_lazily", fail)
    for bomb in (png_bomb, jpeg_bomb, webp_bomb, avif_bomb, tiff_bomb):
        assert "more than the limit" in refusal(put(tmp_path, "frame.jpg", bomb()))


def test_tiles_far_larger_than_the_picture_are_refused(tmp_path: Path) -> None:
    fields = [(256, 4, 1, 99), (257, 4, 1, 99), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1), (277, 3, 1, 1)]
    tiles = [(322, 4, 1, 65536), (323, 4, 1, 65536), (324, 4, 1, 200), (325, 4, 1, 9)]
    assert "damaged" in refusal(put(tmp_path, "frame.tif", tiff_of(fields + tiles, tail=b"\0" * 300)))


# TIFFs whose first picture is not the picture.


def test_a_tiff_that_starts_with_a_preview_is_not_opened_as_it(tmp_path: Path) -> None:
    with tifffile.TiffWriter(tmp_path / "frame.tif") as writer:
        writer.write(noise(24, 32), photometric="rgb", subfiletype=1)
        writer.write(noise(48, 64), photometric="rgb")
    assert "only a small preview" in refusal(tmp_path / "frame.tif")


def test_a_tiff_whose_second_picture_is_missing_is_cut_short(tmp_path: Path) -> None:
    # The thumbnail of a raw that was cut before its sensor data looks like this.
    with tifffile.TiffWriter(tmp_path / "whole.tif") as writer:
        writer.write(noise(24, 32), photometric="rgb", subifds=1)
        writer.write(noise(48, 64), photometric="rgb")
    data = (tmp_path / "whole.tif").read_bytes()
    assert read(tmp_path / "whole.tif").size == Size(32, 24)
    with tifffile.TiffFile(tmp_path / "whole.tif") as whole:
        (nested,) = whole.pages.first.tags["SubIFDs"].value
    assert "a picture that it announces is missing" in refusal(put(tmp_path, "frame.tif", data[: nested + 9]))


def test_a_tiff_that_loops_is_read(tmp_path: Path) -> None:
    fields = [(256, 4, 1, 10), (257, 4, 1, 10), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1), (277, 3, 1, 1)]
    data = tiff_of([*fields, (273, 4, 1, 200), (278, 4, 1, 10), (279, 4, 1, 100)], following=8, tail=b"\0" * 300)
    assert read(put(tmp_path, "frame.tif", data)).size == Size(10, 10)


@pytest.mark.parametrize(
    ("dtype", "words"), [(np.float32, "floating-point pixels"), (np.uint32, "32-bit whole-number pixels")]
)
def test_pixel_kinds_that_are_not_handled(tmp_path: Path, dtype: Any, words: str) -> None:  # noqa: ANN401
    tifffile.imwrite(tmp_path / "frame.tif", np.zeros((8, 8, 3), dtype), photometric="rgb")
    text = refusal(tmp_path / "frame.tif")
    assert words in text
    assert "TIFF with 8 or 16 bits" in text


def test_a_lab_tiff_is_refused(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "frame.tif", np.zeros((8, 8, 3), np.uint8), photometric="cielab")
    assert "holds its colours as Lab" in refusal(tmp_path / "frame.tif")


def test_many_inks_are_refused(tmp_path: Path) -> None:
    tifffile.imwrite(
        tmp_path / "frame.tif", np.zeros((8, 8, 7), np.uint8), photometric="minisblack", planarconfig="contig"
    )
    # One grey band and six that are neither colour nor transparency: the grey one is the picture.
    header = read(tmp_path / "frame.tif")
    assert (header.bands, header.alpha) == (7, False)


def test_the_exception_travels_between_processes(tmp_path: Path) -> None:
    with pytest.raises(FrameUnreadable, match="0 bytes") as caught:
        read(put(tmp_path, "frame.jpg", b""))
    again = pickle.loads(pickle.dumps(caught.value))  # noqa: S301 (our own bytes)
    assert again.fault == caught.value.fault


SEEDS = {
    kind: encoded(noise(16, 16), kind, exif=piexif.dump({"0th": {0x010F: b"x"}}))
    for kind in ("JPEG", "PNG", "WEBP", "TIFF")
}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(kind=st.sampled_from(sorted(SEEDS)), place=st.integers(0, 400), patch=st.binary(min_size=1, max_size=6))
def test_a_damaged_file_is_read_or_refused_but_never_a_surprise(
    tmp_path: Path, kind: str, place: int, patch: bytes
) -> None:
    data = bytearray(SEEDS[kind])
    data[place : place + len(patch)] = patch
    try:
        header = read(put(tmp_path, "frame.jpg", bytes(data)))
    except FrameUnreadable as refused:
        sentence(refused)
    else:
        assert 1 <= header.orientation <= 8
        assert header.size.pixels <= LIMIT
