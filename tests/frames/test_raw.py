"""Development of synthetic raws against what the scene behind the invented camera must give."""

from __future__ import annotations

import io
import struct
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import piexif
import pytest
import rawpy
import tifffile

from pipeline.faults import FrameUnreadable
from pipeline.frames.header import CameraFacts
from pipeline.frames.pixels import Pixels, decode
from pipeline.frames.raw import CR3_UUID, raw_facts
from pipeline.frames.read_header import read_header
from pipeline.light.box import Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ROMM
from tests.frames.files import (
    BLACK,
    LIMIT,
    WHITE,
    dng,
    dng_with_thumbnail,
    encoded,
    letters,
    mosaic,
    noise,
    put,
    sentence,
    turned,
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns about what else is not installed
    import colour

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from numpy.typing import NDArray

NAME = "selects/frame.dng"

# Linear sRGB, 0..1; all inside ROMM RGB.
PATCHES = (
    (0.18, 0.18, 0.18), (0.5, 0.5, 0.5), (0.9, 0.9, 0.9), (0.004, 0.004, 0.004),
    (0.6, 0.2, 0.1), (0.1, 0.3, 0.15), (0.05, 0.1, 0.4), (0.7, 0.6, 0.1),
)  # fmt: skip
PATCH = 32


def scene() -> NDArray[np.float64]:
    """Return two rows of four patches, (64, 128, 3) linear sRGB."""
    return np.kron(np.array(PATCHES).reshape(2, 4, 3), np.ones((PATCH, PATCH, 1)))


def in_romm(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return encoded ROMM RGB of linear sRGB, by colour-science."""
    return np.asarray(
        colour.RGB_to_RGB(
            linear, "sRGB", "ROMM RGB", chromatic_adaptation_transform="Bradford", apply_cctf_encoding=True
        )
    )


def decoded(path: Path) -> Pixels:
    return decode(read_header(path, name=NAME, pixel_limit=LIMIT), name=NAME)


def array(pixels: Pixels) -> NDArray[Any]:
    return np.asarray(pixels.image.numpy())


def centres(pixels: NDArray[Any]) -> NDArray[np.float64]:
    """Return the values at the patches' centres, 0..1, in the order of PATCHES."""
    return (pixels[PATCH // 2 :: PATCH, PATCH // 2 :: PATCH] / 65535).reshape(-1, 3)


def test_patches_are_what_colour_science_makes_of_the_scene(tmp_path: Path) -> None:
    pixels = decoded(put(tmp_path, "frame.dng", dng(mosaic(scene()))))
    # Sensor levels are whole numbers behind gains up to 2, and the published matrices have few digits.
    assert np.abs(in_romm(np.array(PATCHES)) - centres(array(pixels))).max() < 5e-4
    assert array(pixels).dtype == np.uint16
    assert pixels.icc_profile == write_matrix_profile(ROMM)
    assert pixels.notes == ()


def test_greys_are_neutral_and_not_brightened(tmp_path: Path) -> None:
    got = centres(array(decoded(put(tmp_path, "frame.dng", dng(mosaic(scene()))))))[:4]
    levels = np.array(PATCHES)[:4, 0]
    assert np.ptp(got, axis=1).max() < 3e-4
    # ISO 22028-2: the power 1/1.8 above 1/512, 16 times the light below (checked against light/ in its own room).
    assert np.abs(np.where(levels >= 1 / 512, levels ** (1 / 1.8), 16 * levels) - got[:, 1]).max() < 3e-4


def test_a_dark_frame_stays_as_dark(tmp_path: Path) -> None:
    # No automatic brightening, and no stretching to the frame's own maximum.
    for share in (1.0, 0.1):
        got = centres(array(decoded(put(tmp_path, "frame.dng", dng(mosaic(scene() * share))))))
        assert got[1, 1] == pytest.approx((0.5 * share) ** (1 / 1.8), abs=3e-4)


def test_sensor_data_in_floating_layout_of_three_bands(tmp_path: Path) -> None:
    # A linear raw (photometric 34892) made by tifffile: camera values, 16 bits, no mosaic.
    neutral = (1, 2, 1, 1, 2, 3)
    extra = [
        (50706, 1, 4, bytes([1, 4, 0, 0]), True),
        (50721, 10, 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),
        (50728, 5, 3, neutral, True),
        (50778, 3, 1, 21, True),
        (50717, 3, 3, (60000, 60000, 60000), True),
    ]
    camera = np.broadcast_to(np.array([15000, 30000, 20000], np.uint16), (40, 60, 3))
    tifffile.imwrite(tmp_path / "frame.dng", camera, photometric=34892, extratags=extra)
    got = array(decoded(tmp_path / "frame.dng"))[20, 30] / 65535
    assert got == pytest.approx([0.5 ** (1 / 1.8)] * 3, abs=2e-3)


def test_a_sensor_that_is_full_below_its_white_level_gives_white_not_pink(tmp_path: Path) -> None:
    # All colours pile up at 90 % of the stated white level: a blown window.
    full = BLACK + round(0.9 * (WHITE - BLACK))
    light = scene()
    light[:, :PATCH] = 4.0
    levels = np.minimum(mosaic(light), full).astype(np.uint16)
    got = array(decoded(put(tmp_path, "frame.dng", dng(levels))))[8:-8, 8 : PATCH - 8]
    assert (got > 0.99 * 65535).all()


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_raw_is_upright_once(tmp_path: Path, orientation: int) -> None:
    stored = letters("RKKW KWWW KKWW KWWB GWWY", 16).astype(float) / 255
    path = put(tmp_path, "frame.dng", dng(mosaic(stored), orientation=orientation))
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    got = array(decode(header, name=NAME))
    upright = turned(stored, orientation)
    assert header.orientation == 1
    assert header.size == Size(upright.shape[1], upright.shape[0])
    assert got.shape == upright.shape
    assert np.abs(in_romm(upright[8::16, 8::16]) - got[8::16, 8::16] / 65535).max() < 5e-4


def test_a_raw_named_tif_is_opened_whole_not_as_its_thumbnail(tmp_path: Path) -> None:
    path = dng_with_thumbnail(mosaic(scene()), tmp_path / "frame.tif")
    with tifffile.TiffFile(path) as general:
        assert general.pages.first.shape == (24, 32, 3)  # what a general reader opens
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    assert (header.format, header.size, header.bits, header.bands) == ("raw", Size(128, 64), 16, 3)
    assert array(decode(header, name=NAME)).shape == (64, 128, 3)


@pytest.mark.parametrize("share", [0.3, 0.5, 0.9, 0.999])
def test_a_raw_cut_short_is_refused(tmp_path: Path, capfd: pytest.CaptureFixture[str], share: float) -> None:
    nested = dng_with_thumbnail(mosaic(scene()), tmp_path / "nested.dng").read_bytes()
    for data in (dng(mosaic(scene())), nested):
        path = put(tmp_path, "frame.dng", data[: int(len(data) * share)])
        with pytest.raises(FrameUnreadable, match=r"is cut short|cannot be developed") as caught:
            decoded(path)
        sentence(caught.value)
    assert "Unexpected end" not in capfd.readouterr().err


def test_a_raw_of_an_unknown_kind_is_refused_with_a_way_out(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.x3f", b"FOVb" + bytes(range(256)) * 8)
    with pytest.raises(FrameUnreadable, match="cannot be developed here; export it as 16-bit TIFF") as caught:
        read_header(path, name=NAME, pixel_limit=LIMIT)
    sentence(caught.value)


def test_the_limit_holds_for_raws(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.dng", dng(mosaic(scene())))
    with pytest.raises(FrameUnreadable, match=r"claims 128 x 64 pixels .* more than the limit"):
        read_header(path, name=NAME, pixel_limit=128 * 64 - 1)


def test_a_raw_that_changed_since_its_header_was_read(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.dng", dng(mosaic(scene())))
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    put(tmp_path, "frame.dng", dng(mosaic(scene()), orientation=6))
    with pytest.raises(FrameUnreadable, match="has changed since its header was read"):
        decode(header, name=NAME)


def test_the_end_of_the_data_is_looked_at_where_the_file_does_not_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Such raws cannot be made here, so a DNG stands for one whose last rows a decoder filled up.
    monkeypatch.setattr("pipeline.frames.raw.states_its_length", lambda _: False)
    levels = mosaic(np.clip(scene() + noise(64, 128, 1)[..., None] / 2550, 0, 1))
    assert array(decoded(put(tmp_path, "whole.dng", dng(levels)))).shape == (64, 128, 3)
    levels[40:] = 0
    with pytest.raises(FrameUnreadable, match="is cut short"):
        decoded(put(tmp_path, "frame.dng", dng(levels)))


def test_a_size_other_than_the_headers_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = put(tmp_path, "frame.dng", dng(mosaic(scene())))
    header = read_header(path, name=NAME, pixel_limit=LIMIT)
    develop = rawpy.Params
    monkeypatch.setattr(rawpy, "Params", lambda **settings: develop(**settings, half_size=True))
    with pytest.raises(FrameUnreadable, match="developed to 64 x 32 pixels where its header says 128 x 64"):
        decode(header, name=NAME)


# Camera facts of raws.


def test_facts_of_a_dng_are_what_exiftool_reads(tmp_path: Path, exiftool: Callable[..., dict[str, Any]]) -> None:
    path = put(tmp_path, "frame.dng", dng(mosaic(scene())))
    camera = read_header(path, name=NAME, pixel_limit=LIMIT).camera
    tags = exiftool(path)
    assert (tags["IFD0:Make"], tags["IFD0:Model"]) == (camera.make, camera.model) == ("Invented", "Plate One")


def test_facts_of_a_raf_come_from_its_preview() -> None:
    exif = piexif.dump({"0th": {piexif.ImageIFD.Make: b"Invented"}, "Exif": {piexif.ExifIFD.ISOSpeedRatings: 640}})
    preview = encoded(noise(), "JPEG", exif=exif)
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"\0") + struct.pack(">II", 200, len(preview))
    facts = raw_facts(io.BytesIO(head.ljust(200, b"\0") + preview))
    assert facts == CameraFacts(make="Invented", iso=640)


def test_facts_of_a_cr3_come_from_its_boxes() -> None:
    def box(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I4s", 8 + len(data), kind) + data

    def directory(fields: list[tuple[int, int, int, int]]) -> bytes:
        table = b"".join(struct.pack("<HHII", *field) for field in fields)
        return b"II*\0\x08\0\0\0" + struct.pack("<H", len(fields)) + table + b"\0" * 4

    blocks = (
        box(b"CMT1", directory([(0x010F, 2, 4, int.from_bytes(b"Abc\0", "little"))]))
        + box(b"CMT2", directory([(0x8827, 3, 1, 640)]))
        + box(b"CMT4", directory([(1, 2, 2, ord("N"))]))
    )
    data = box(b"ftyp", b"crx \0\0\0\0") + box(b"moov", box(b"uuid", CR3_UUID + blocks))
    assert raw_facts(io.BytesIO(data)) == CameraFacts(make="Abc", iso=640, position=True)


@pytest.mark.parametrize("start", [b"FUJIFILMCCD-RAW ", b"\0\0\0\x10ftypcrx ", b"FOVb", b""])
def test_raws_without_facts(start: bytes) -> None:
    assert raw_facts(io.BytesIO(start)) == CameraFacts()
    assert raw_facts(io.BytesIO(start + b"\xff" * 200)) == CameraFacts()
