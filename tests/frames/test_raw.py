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
    dng_in_tiles,
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


# An invented camera whose filters overlap, XYZ to its values, and the light it stands in: CIE 15 daylight and lamp.
FILTERS = np.array([[0.65, -0.12, -0.07], [-0.48, 1.28, 0.22], [-0.06, 0.18, 0.62]])
OBSERVER = "CIE 1931 2 Degree Standard Observer"
LIGHTS = {name: colour.xy_to_XYZ(colour.CCS_ILLUMINANTS[OBSERVER][name]) for name in ("D65", "A")}
PCS_WHITE = np.array([0.9642, 1.0, 0.8249])  # ICC.1, D50 of the profile connection space
GREYS = np.array([0.002, 0.004, 0.01, 0.03, 0.09, 0.18, 0.36, 0.5, 0.7, 0.9, 1.0])


def neutral_of(light: str) -> NDArray[np.float64]:
    """Return what the camera answers to white in a light, the largest 1: its AsShotNeutral."""
    answer = FILTERS @ LIGHTS[light]
    return np.asarray(answer / answer.max())


def photographed(camera: NDArray[np.float64], light: str) -> bytes:
    """Return a DNG of patches (rows, columns, 3) in the camera's own values, white in this light being its neutral."""
    patches = np.kron(camera, np.ones((PATCH, PATCH, 1))).astype(np.float64)
    levels = mosaic(patches, gains=(1.0, 1.0, 1.0))
    return dng(levels, matrix=tuple(FILTERS.ravel()), gains=tuple(1 / neutral_of(light)))


def expected_lab(camera: NDArray[np.float64], light: str) -> NDArray[np.float64]:
    """Return Lab D50 of camera values, by arithmetic alone.

    The sensor holds round(black + value x (white - black)); off comes the black, white is 1, the as-shot neutral
    divides, the inverse of the colour matrix (its rows taken for a white of 1) leads to XYZ, and the tone curve is
    none: light is reproduced in proportion, up to white.
    """
    levels = np.round(BLACK + camera * (WHITE - BLACK))
    balanced = np.minimum((levels - BLACK) / (WHITE - BLACK) / neutral_of(light), 1.0)
    in_daylight = balanced * (FILTERS @ LIGHTS["D65"]) @ np.linalg.inv(FILTERS).T
    adapted = colour.adaptation.chromatic_adaptation_VonKries(in_daylight, LIGHTS["D65"], PCS_WHITE, "Bradford")
    return np.asarray(colour.XYZ_to_Lab(adapted, colour.XYZ_to_xy(PCS_WHITE)))


def lab_of(romm: NDArray[Any]) -> NDArray[np.float64]:
    """Return Lab D50 of encoded ROMM RGB of 16 bits: the power 1.8 above 16/512, a sixteenth below (ISO 22028-2)."""
    encoded_values = romm / 65535
    linear = np.where(encoded_values < 16 / 512, encoded_values / 16, encoded_values**1.8)
    return np.asarray(colour.XYZ_to_Lab(colour.RGB_to_XYZ(linear, "ROMM RGB"), colour.XYZ_to_xy(PCS_WHITE)))


def difference(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(colour.delta_E(one, other, method="CIE 2000"))


def patches_of(camera: NDArray[np.float64], light: str, folder: Path) -> NDArray[np.float64]:
    """Return Lab D50 of the middle of each developed patch, in the order of `camera` (rows, columns, 3)."""
    developed = array(decoded(put(folder, "frame.dng", photographed(camera, light))))
    return lab_of(developed[PATCH // 2 :: PATCH, PATCH // 2 :: PATCH].reshape(-1, 3))


def colour_checker() -> NDArray[np.float64]:
    """Return the 24 patches of the chart (edition of November 2014, after), XYZ in daylight, (4, 6, 3)."""
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    seen = colour.xyY_to_XYZ(np.array(list(chart.data.values())))
    white = colour.xy_to_XYZ(chart.illuminant)
    adapted = colour.adaptation.chromatic_adaptation_VonKries(seen, white, LIGHTS["D65"], "Bradford")
    return np.asarray(adapted).reshape(4, 6, 3)


@pytest.mark.parametrize("light", ["D65", "A"])
def test_neutrals_are_what_the_scene_gives(tmp_path: Path, light: str) -> None:
    camera = (GREYS[:, None] * neutral_of(light))[None]
    got = patches_of(camera, light, tmp_path)
    # What is asked for is 2; sensor levels are whole numbers, which alone is 0.05 in the darkest.
    assert difference(expected_lab(camera, light)[0], got).max() < 0.1
    assert difference(colour.XYZ_to_Lab(GREYS[:, None] * PCS_WHITE, colour.XYZ_to_xy(PCS_WHITE)), got).max() < 0.2
    assert np.hypot(got[:, 1], got[:, 2]).max() < 0.1


def test_the_colour_chart_is_what_the_scene_gives(tmp_path: Path) -> None:
    scene_xyz = colour_checker()
    camera = scene_xyz @ FILTERS.T / (FILTERS @ LIGHTS["D65"]).max()
    got = patches_of(camera, "D65", tmp_path)
    chart = colour.adaptation.chromatic_adaptation_VonKries(scene_xyz, LIGHTS["D65"], PCS_WHITE, "Bradford")
    assert difference(expected_lab(camera, "D65").reshape(-1, 3), got).max() < 0.2
    assert difference(colour.XYZ_to_Lab(chart, colour.XYZ_to_xy(PCS_WHITE)).reshape(-1, 3), got).max() < 0.2


# Blown windows. Light is told in stops above what just fills the sensor behind its most open filter.


def window(stops: NDArray[np.float64], tint: NDArray[np.float64], light: str, full: float = 1.0) -> bytes:
    """Return a DNG of columns of light, with the noise of photons (30,000 at white), cut where the sensor is full."""
    camera = 2.0 ** stops[None, :, None] * tint
    filtered = np.broadcast_to(camera, (64, len(stops), 3))
    bands = np.empty(filtered.shape[:2])
    for row, column, band in ((0, 0, 0), (0, 1, 1), (1, 0, 1), (1, 1, 2)):
        bands[row::2, column::2] = filtered[row::2, column::2, band]
    noisy = bands + np.random.default_rng(11).normal(size=bands.shape) * np.sqrt(bands / 30_000)
    levels = np.round(BLACK + np.clip(noisy, 0, full) * (WHITE - BLACK)).astype(np.uint16)
    return dng(levels, matrix=tuple(FILTERS.ravel()), gains=tuple(1 / neutral_of(light)))


@pytest.mark.parametrize("light", ["D65", "A"])
@pytest.mark.parametrize("full", [1.0, 0.92])
def test_a_blown_window_is_white_and_the_way_there_is_neutral(tmp_path: Path, light: str, full: float) -> None:
    stops = np.linspace(-3, 3, 512)
    lab = lab_of(array(decoded(put(tmp_path, "frame.dng", window(stops, neutral_of(light), light, full)))))[8:-8]
    columns = lab.mean(axis=0)[8:-8]
    blown = stops[8:-8] > np.log2(1 / neutral_of(light).min())  # every colour is full
    chroma = np.hypot(columns[:, 1], columns[:, 2])
    assert chroma[blown].max() < 0.1
    assert columns[blown, 0].min() > 99.9
    # Before that, while green is full and red is not: no tint beyond that of the noise, and never darker.
    assert chroma.max() < 1.0
    smooth = np.convolve(columns[:, 0], np.ones(16) / 16, mode="valid")
    assert np.diff(smooth).min() > -0.05
    assert columns[blown, 0].min() > columns[~blown, 0].mean() + 20


@pytest.mark.parametrize(("light", "window_light"), [("A", "D65"), ("D65", "A")])
def test_a_window_in_another_light_goes_to_white_by_no_way_of_pink(
    tmp_path: Path, light: str, window_light: str
) -> None:
    stops = np.linspace(-3, 4, 512)
    lab = lab_of(array(decoded(put(tmp_path, "frame.dng", window(stops, neutral_of(window_light), light)))))[8:-8]
    columns = lab.mean(axis=0)[8:-8]
    tint = columns[: np.searchsorted(stops, -1), 1].max()
    assert columns[:, 1].max() < tint + 1.0  # a* (green to pink) is at most that of the light itself
    assert np.hypot(columns[-30:, 1], columns[-30:, 2]).max() < 0.1
    assert columns[-30:, 0].min() > 99.9


def test_greys_are_neutral_and_not_brightened(tmp_path: Path) -> None:
    got = centres(array(decoded(put(tmp_path, "frame.dng", dng(mosaic(scene()))))))[:4]
    levels = np.array(PATCHES)[:4, 0]
    assert np.ptp(got, axis=1).max() < 3e-4
    # ISO 22028-2: the power 1/1.8 above 1/512, 16 times the light below (checked against light/ in its own room).
    assert np.abs(np.where(levels >= 1 / 512, levels ** (1 / 1.8), 16 * levels) - got[:, 1]).max() < 3e-4


def test_twice_the_light_is_twice_as_light(tmp_path: Path) -> None:
    steps = 2.0 ** np.arange(-7, 1)
    camera = (steps[:, None] * neutral_of("D65"))[None]
    lightness = patches_of(camera, "D65", tmp_path)[:, 0]
    luminance = np.where(lightness > 8, ((lightness + 16) / 116) ** 3, lightness * 27 / 24389)  # CIE 15
    assert steps == pytest.approx(luminance, rel=0.002, abs=2.5e-5)


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


@pytest.mark.parametrize("kind", ["plain", "tiles", "one tile", "nested"])
def test_a_raw_cut_anywhere_is_refused(tmp_path: Path, capfd: pytest.CaptureFixture[str], kind: str) -> None:
    levels = mosaic(np.clip(scene() + noise(64, 128, 1)[..., None] / 2550, 0, 1))
    data = {
        "plain": lambda: dng(levels),
        "tiles": lambda: dng_in_tiles(levels, 32),
        "one tile": lambda: dng_in_tiles(levels, 64),
        "nested": lambda: dng_with_thumbnail(levels, tmp_path / "nested.dng").read_bytes(),
    }[kind]()
    assert array(decoded(put(tmp_path, "frame.dng", data))).shape == (64, 128, 3)
    whys = r"is cut short|damaged|cannot be developed|is no picture|is empty|only a small preview"
    for end in (*range(0, 1000, 17), *range(1000, len(data), len(data) // 40), len(data) - 2, len(data) - 1):
        with pytest.raises(FrameUnreadable, match=whys) as caught:
            decoded(put(tmp_path, "frame.dng", data[:end]))
        sentence(caught.value)
    assert "Unexpected end" not in capfd.readouterr().err


def test_tiles_of_lossless_jpeg_are_developed_like_plain_levels(tmp_path: Path) -> None:
    levels = mosaic(scene())
    plain = array(decoded(put(tmp_path, "plain.dng", dng(levels))))
    np.testing.assert_array_equal(plain, array(decoded(put(tmp_path, "tiles.dng", dng_in_tiles(levels, 32)))))


def test_a_raw_of_an_unknown_kind_is_refused_with_a_way_out(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.x3f", b"FOVb" + bytes(range(256)) * 8)
    with pytest.raises(FrameUnreadable, match="cannot be developed here; export it as 16-bit TIFF") as caught:
        read_header(path, name=NAME, pixel_limit=LIMIT)
    sentence(caught.value)


@pytest.mark.parametrize("compression", [8, 9, 34713, 34892, 52546])
def test_a_raw_packed_in_a_way_not_known_here_is_refused(tmp_path: Path, compression: int) -> None:
    # DNG 1.7, Compression: deflate, VC-5, a maker's own, lossy JPEG and JPEG XL in place of lossless JPEG.
    data = dng_in_tiles(mosaic(scene()), 64)
    field = struct.pack("<HHI", 259, 3, 1)
    changed = data.replace(field + struct.pack("<H", 7), field + struct.pack("<H", compression))
    assert changed != data
    with pytest.raises(FrameUnreadable, match="cannot be developed here; export it as 16-bit TIFF") as caught:
        decoded(put(tmp_path, "frame.dng", changed))
    sentence(caught.value)


def test_a_raw_without_any_light_in_it_is_refused(tmp_path: Path) -> None:
    levels = np.full((64, 96), BLACK - 20, np.uint16)
    levels[::2] -= 4
    with pytest.raises(FrameUnreadable, match="developed to nothing but black"):
        decoded(put(tmp_path, "frame.dng", dng(levels)))


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
