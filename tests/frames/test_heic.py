"""HEIC frames: turned once, in their own colours, whole or refused, and the way out where no decoder is installed."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, get_args

import numpy as np
import piexif
import pillow_heif
import pytest
from PIL import Image, ImageCms

from pipeline.faults import FrameUnreadable
from pipeline.frames import boxes
from pipeline.frames.header import CameraFacts
from pipeline.frames.pixels import EXTRA_LEFT_OUT, LAID_ON_WHITE, TAKEN_AS_SRGB, Pixels, decode
from pipeline.frames.read_header import read_header
from pipeline.frames.sniff import sniff
from pipeline.job.target import Format
from pipeline.light.box import Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import DISPLAY_P3, SRGB
from pipeline.plan.rendition import OutputFormat
from tests.frames.files import LETTER, LIMIT, heic, letters, noise, put, sentence, turned

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

    from pipeline.frames.header import Header

NAME = "selects/IMG_0412.HEIC"
P3_PROFILE = write_matrix_profile(DISPLAY_P3)


def header_of(data: bytes, folder: Path) -> Header:
    return read_header(put(folder, "IMG_0412.HEIC", data), name=NAME, pixel_limit=LIMIT)


def decoded(data: bytes, folder: Path) -> Pixels:
    return decode(header_of(data, folder), name=NAME)


def array(pixels: Pixels) -> NDArray[Any]:
    return np.asarray(pixels.image.numpy())


def refusal(data: bytes, folder: Path) -> str:
    with pytest.raises(FrameUnreadable, match="IMG_0412") as caught:
        decoded(data, folder)
    return sentence(caught.value)


def orientation_in_exif(data: bytes) -> int:
    return int(piexif.load(pillow_heif.open_heif(data).info["exif"])["0th"][piexif.ImageIFD.Orientation])


def with_rotation(data: bytes, quarter_turns: int) -> bytes:
    """Return the file with another angle in its `irot` box (ISO/IEC 23008-12 6.5.10: quarter turns, anticlockwise)."""
    at = data.index(b"irot") + 4
    return data[:at] + bytes([quarter_turns]) + data[at + 1 :]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_phone_picture_turned_by_container_and_exif_is_turned_once(tmp_path: Path, orientation: int) -> None:
    stored = letters(LETTER, 16)
    data = heic(stored, orientation=orientation)
    upright = turned(stored, orientation)
    assert orientation_in_exif(data) == orientation
    assert (b"irot" in data or b"imir" in data) == (orientation != 1)
    header = header_of(data, tmp_path)
    assert (header.format, header.orientation) == ("heic", 1)
    assert header.size == Size(upright.shape[1], upright.shape[0])
    np.testing.assert_array_equal(upright, array(decode(header, name=NAME)))


def test_the_container_decides_and_exif_alone_turns_nothing(tmp_path: Path) -> None:
    stored = letters(LETTER, 16)
    still = with_rotation(heic(stored, orientation=6), 0)
    assert orientation_in_exif(still) == 6
    np.testing.assert_array_equal(stored, array(decoded(still, tmp_path)))
    upside_down = with_rotation(heic(stored, orientation=6), 2)
    np.testing.assert_array_equal(stored[::-1, ::-1], array(decoded(upside_down, tmp_path)))


@pytest.mark.parametrize("name", ["frame.jpg", "frame.HEIF", "frame"])
def test_a_heic_is_one_under_any_name(tmp_path: Path, name: str) -> None:
    assert sniff(put(tmp_path, name, heic(noise()))) == "heic"


def test_ten_bits_stay_and_white_is_white(tmp_path: Path) -> None:
    ramp = np.linspace(0, 65535, 1024).reshape(16, 64, 1).repeat(3, axis=2).astype(np.uint16)
    pixels = decoded(heic(ramp, "RGB;16"), tmp_path)
    assert header_of(heic(ramp, "RGB;16"), tmp_path).bits == 10
    assert len(np.unique(array(pixels)[..., 1])) == 1024
    # 10 bits are 1024 levels, 65535 / 1023 = 64.06 apart; the file's writer cuts down, so at most one of them is lost.
    assert np.abs(ramp.astype(int) - array(pixels)).max() <= 65
    assert (array(pixels).min(), array(pixels).max()) == (0, 65535)


def test_an_embedded_profile_travels_and_says_the_colours(tmp_path: Path) -> None:
    stored = letters("RGB YWK", 32)
    pixels = decoded(heic(stored, info={"icc_profile": P3_PROFILE}), tmp_path)
    assert pixels.icc_profile == P3_PROFILE
    assert pixels.notes == ()
    as_srgb = ImageCms.profileToProfile(
        Image.fromarray(array(pixels)), ImageCms.ImageCmsProfile(io.BytesIO(P3_PROFILE)), ImageCms.createProfile("sRGB")
    )
    assert as_srgb is not None
    red, green = np.asarray(as_srgb)[8, 8], np.asarray(as_srgb)[8, 40]
    # Display P3 red 220,30,30 is redder than sRGB can show, green 30,180,60 likewise: a channel is clipped to 0.
    assert (red.min(), green.min()) == (0, 0)


@pytest.mark.parametrize(
    ("codes", "profile"), [((1, 13), write_matrix_profile(SRGB)), ((12, 13), P3_PROFILE), ((9, 1), None)], ids=str
)
def test_code_points_say_the_colours_where_there_is_no_profile(
    tmp_path: Path, codes: tuple[int, int], profile: bytes | None
) -> None:
    # ITU-T H.273 tables 2 and 3: 1 BT.709, 12 Display P3, 9 BT.2020; 13 sRGB curve, 1 BT.709 curve.
    data = heic(noise(), color_primaries=codes[0], transfer_characteristics=codes[1])
    header = header_of(data, tmp_path)
    assert header.icc_profile == profile
    assert decode(header, name=NAME).notes == (() if profile else (TAKEN_AS_SRGB,))


@pytest.mark.parametrize("transfer", [16, 18])
def test_hdr_is_refused(tmp_path: Path, transfer: int) -> None:
    assert "is coded for HDR screens" in refusal(
        heic(noise(), color_primaries=9, transfer_characteristics=transfer), tmp_path
    )


def test_grey_becomes_three_equal_bands(tmp_path: Path) -> None:
    stored = letters("Km mW", 32)[..., 0]
    pixels = decoded(heic(stored, "L"), tmp_path)
    np.testing.assert_array_equal(stored[..., None].repeat(3, axis=2), array(pixels))


def test_transparency_is_laid_on_white(tmp_path: Path) -> None:
    stored = np.dstack([letters("RB GY", 32), np.full((64, 64), 51, np.uint8)])
    pixels = decoded(heic(stored, "RGBA"), tmp_path)
    np.testing.assert_allclose(0.2 * stored[..., :3] + 0.8 * 255, array(pixels), atol=1)
    assert LAID_ON_WHITE in pixels.notes
    assert EXTRA_LEFT_OUT not in pixels.notes


def test_tiles_of_a_phone_picture_make_one_picture(tmp_path: Path) -> None:
    # Phones write their pictures as a grid of tiles, each a picture of its own.
    stored = noise(200, 300)
    data = heic(stored, orientation=8, tile_size=64)
    assert b"grid" in data
    np.testing.assert_array_equal(turned(stored, 8), array(decoded(data, tmp_path)))


def test_facts_and_words_are_what_exiftool_reads(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    exif = piexif.dump(
        {
            "0th": {
                piexif.ImageIFD.Make: b"Invented",
                piexif.ImageIFD.Model: b"Pocket",
                piexif.ImageIFD.Copyright: "© Ana".encode(),
            },
            "Exif": {
                piexif.ExifIFD.ISOSpeedRatings: 64,
                piexif.ExifIFD.DateTimeOriginal: b"2026:09:12 10:24:31",
                piexif.ExifIFD.OffsetTimeOriginal: b"+02:00",
            },
            "GPS": {piexif.GPSIFD.GPSLatitudeRef: b"N", piexif.GPSIFD.GPSLatitude: ((45, 1), (0, 1), (0, 1))},
        }
    )
    xmp = (
        b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        b'<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:title><rdf:Alt>'
        b'<rdf:li xml:lang="x-default">Cr\xc3\xa8me</rdf:li></rdf:Alt></dc:title></rdf:Description></rdf:RDF>'
        b"</x:xmpmeta>"
    )
    header = header_of(heic(noise(), info={"exif": exif, "xmp": xmp}), tmp_path)
    tags = exiftool(header.path)
    assert header.camera == CameraFacts(
        make=tags["IFD0:Make"], model="Pocket", iso=64, taken="2026-09-12T10:24:31+02:00", position=True
    )
    assert header.stated.title == tags["XMP-dc:Title"] == "Crème"
    assert header.stated.copyright == tags["IFD0:Copyright"] == "© Ana"


def test_a_heic_cut_anywhere_is_refused(tmp_path: Path) -> None:
    data = heic(noise(64, 80), orientation=6, info={"xmp": b"<x:xmpmeta/>" * 40})
    ends = [*range(1, 900, 23), *range(900, len(data), 211), *range(len(data) - 40, len(data), 3)]
    told = {refusal(data[:end], tmp_path).split(": ", 1)[1] for end in ends}
    assert array(decoded(data, tmp_path)).shape == (80, 64, 3)
    assert any("is cut short: part of the picture is missing" in words for words in told)


def test_a_tiled_heic_cut_anywhere_is_refused(tmp_path: Path) -> None:
    data = heic(noise(100, 130), tile_size=64)
    with io.BytesIO(data) as stream:
        picture_data = next(box for box in boxes.boxes(stream, 0, len(data)) if box.kind == b"mdat")
    for end in range(picture_data.start, len(data), (len(data) - picture_data.start) // 30):
        assert "is cut short" in refusal(data[:end], tmp_path)


def test_the_limit_holds_before_decoding(tmp_path: Path) -> None:
    path = put(tmp_path, "IMG_0412.HEIC", heic(noise(64, 80)))
    with pytest.raises(FrameUnreadable, match="claims 80 x 64 pixels"):
        read_header(path, name=NAME, pixel_limit=64 * 80 - 1)


def test_a_heic_that_changed_since_its_header_was_read(tmp_path: Path) -> None:
    header = header_of(heic(noise(64, 80)), tmp_path)
    put(tmp_path, "IMG_0412.HEIC", heic(noise(80, 64)))
    with pytest.raises(FrameUnreadable, match="has changed since its header was read"):
        decode(header, name=NAME)
    header.path.unlink()
    with pytest.raises(FrameUnreadable, match="is not there"):
        decode(header, name=NAME)


def test_without_the_extra_one_sentence_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("pipeline.frames.heic.find_spec", lambda _: None)
    words = refusal(heic(noise()), tmp_path)
    assert words == (
        f"{NAME}: is a HEIC picture, and the part of plateline that reads those is not installed; "
        "install it (pip install 'plateline[heic]'), or export the frame as JPEG or TIFF"
    )


def test_an_extra_that_does_not_load_is_told_alike(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ImportError("libheif.so.1: cannot open shared object file")

    monkeypatch.setattr(pillow_heif, "open_heif", broken)
    assert "pip install 'plateline[heic]'" in refusal(heic(noise()), tmp_path)


def test_heic_is_read_and_never_written() -> None:
    assert "heic" not in {*get_args(Format), *get_args(OutputFormat)}
