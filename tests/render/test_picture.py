"""Whole pictures: masters of several spaces against colour-science; the order of the steps; identity and fine steps."""

from __future__ import annotations

import functools
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvips
import tifffile

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Box, Size
from pipeline.light.cielab import lightnesses_of
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, ROMM, SRGB, RGBSpace
from pipeline.render import picture as under_test
from pipeline.render.colour import matrix_of
from pipeline.render.picture import AFTER_WORKING_SPACE, STEPS, Spec, make_picture, run_steps
from pipeline.render.resize import reduce
from tests.light import colour_science
from tests.light.foreign_profiles import encoded_in, gamma_curve, matrix_profile, table_profile
from tests.render.charts import (
    PLAIN,
    SCREEN,
    SRGB_PROFILE,
    Array,
    chart,
    colour_grid,
    delivered,
    finished,
    grey_steps,
    image_of,
    made,
    pixels_of,
    squares,
)

if TYPE_CHECKING:
    from pipeline.frames.pixels import Pixels
    from pipeline.plan.rendition import OutputFormat

# The order of design.md: cut, linear light, reduce, working space, sharpen, target space, mark, quantise.
ORDER = (
    "cut",
    "linear_light",
    "reduce",
    "working_space",
    "sharpen_lightness",
    "target_space",
    "proof_mark",
    "quantise",
)

ADOBE, P3, WIDE = colour_science.ADOBE_RGB, colour_science.DISPLAY_P3, colour_science.ROMM
PROFILES = {
    "Adobe RGB": (ADOBE, matrix_profile(ADOBE, gamma_curve(563 / 256))),
    "Display P3": (P3, bytes(pyvips.Image.profile_load("p3"))),
    "ROMM": (WIDE, matrix_profile(WIDE)),
    "sRGB": (colour_science.SRGB, bytes(pyvips.Image.profile_load("srgb"))),
    "Adobe RGB in tables": (ADOBE, table_profile(ADOBE)),
    "ROMM in tables": (WIDE, table_profile(WIDE)),
}
EACH_MASTER = pytest.mark.parametrize("master", PROFILES)
SQUARE, COLUMNS = 64, 16
LOSSLESS: tuple[OutputFormat, ...] = ("tiff", "png")
LOSSY: tuple[tuple[OutputFormat, int], ...] = (("jpeg", 88), ("webp", 82), ("avif", 62))
# WebP keeps chroma at half size, and at our effort it spends its bits where they are seen more than on even squares.
NEAR_ALL: dict[OutputFormat, float] = {"jpeg": 1.0, "webp": 1.0, "avif": 1.0}


def patches() -> Array:
    """Return encoded sRGB (0..1) of the chart patches inside it, and of a grid that has its corners."""
    inside = [rgb for rgb in colour_science.chart_patches().values() if 0 <= rgb.min() <= rgb.max() <= 1]
    return np.concatenate([np.array(inside), colour_grid() / 255])


def master_file(path: Path, codes: Array, icc_profile: bytes) -> Pixels:
    """Return the decoded TIFF of a chart of codes (n, 3), as tifffile writes it."""
    tifffile.imwrite(path, chart(codes, SQUARE, COLUMNS), photometric="rgb", iccprofile=icc_profile)
    return decode(read_header(path, name=path.name, pixel_limit=10**8), name=path.name)


def rendered(pixels: Pixels) -> under_test.Picture:
    """Return the picture for a screen at half the size, sharpened."""
    whole = Box(0, 0, pixels.image.width, pixels.image.height)
    return make_picture(pixels, whole, Size(whole.width // 2, whole.height // 2), SCREEN)


def difference_of(picture: under_test.Picture, output_format: OutputFormat, quality: int, expected: Array) -> Array:
    """Return CIEDE2000 between the squares of the delivered file and the expected colours (encoded sRGB, 0..1)."""
    found = squares(delivered(picture, output_format, quality), COLUMNS, len(expected)) / 255
    return colour_science.difference(found, np.clip(expected, 0, 1))


def test_only_cyan_of_the_chart_lies_outside_srgb() -> None:
    outside = {name for name, rgb in colour_science.chart_patches().items() if rgb.min() < 0 or rgb.max() > 1}
    assert outside == {"cyan, before", "cyan, after"}


@functools.cache
def differences(master: str, kind: str) -> dict[OutputFormat, Array]:
    """Return CIEDE2000 of every patch in a file of each format, from a master of so many bits."""
    name, icc_profile = PROFILES[master]
    top = np.iinfo(kind).max
    codes = np.rint(encoded_in(name, patches()) * top).astype(kind)
    with tempfile.TemporaryDirectory() as folder:
        picture = rendered(master_file(Path(folder) / "master.tif", codes, icc_profile))
    expected = colour_science.converted(codes / top, name, colour_science.SRGB)
    qualities = dict.fromkeys(LOSSLESS, 100) | dict(LOSSY)
    return {each: difference_of(picture, each, quality, expected) for each, quality in qualities.items()}


@EACH_MASTER
@pytest.mark.parametrize("kind", ["uint8", "uint16"])
@pytest.mark.xdist_group("patches")
def test_in_gamut_patches_keep_their_colour(master: str, kind: str) -> None:
    found = differences(master, kind)
    for lossless in LOSSLESS:
        assert found[lossless].max() < 1.0
    for lossy, _ in LOSSY:
        assert found[lossy].mean() < 0.4
        assert found[lossy].max() < 2.5


@pytest.mark.parametrize("lossy", [each for each, _ in LOSSY])
@pytest.mark.xdist_group("patches")
def test_of_all_masters_nearly_all_patches_keep_their_colour_in_a_lossy_file(lossy: OutputFormat) -> None:
    """Rounding to 8-bit YCbCr alone moves near-greys by up to two units; it is the codecs', and rare."""
    found = [differences(master, kind)[lossy] for master in PROFILES for kind in ("uint8", "uint16")]
    assert np.quantile(np.concatenate(found), 0.95) < NEAR_ALL[lossy]


@pytest.mark.parametrize(("master", "at_least"), [("Adobe RGB", 4.5), ("Display P3", 3.0), ("ROMM", 13.0)])
def test_a_lost_profile_would_be_seen(master: str, at_least: float) -> None:
    # Measured with LittleCMS for sRGB 200, 100, 50: 5.0, 3.2 and 14.0 units when the numbers are left as they are.
    rgb = np.array([[200.0, 100.0, 50.0]]) / 255
    codes = np.rint(encoded_in(PROFILES[master][0], rgb) * 255).astype(np.uint8)
    right, lost = (finished(codes[None], each)[0] / 255 for each in (PROFILES[master][1], SRGB_PROFILE))
    assert colour_science.difference(right, rgb).max() < 1.0
    assert colour_science.difference(lost, rgb).max() > at_least


@pytest.mark.parametrize(
    ("colour", "codes"),
    # sRGB 200, 100, 50, converted by LittleCMS.
    [("adobe-rgb", [177, 100, 56]), ("display-p3", [187, 105, 62]), ("srgb", [200, 100, 50])],
)
def test_srgb_200_100_50_in_each_target_space(colour: str, codes: list[int]) -> None:
    picture = np.array([[[200, 100, 50]]], np.uint8)
    assert finished(picture, settings=replace(PLAIN, colour=colour)).tolist() == [[codes]]


def test_8_bit_romm_loses_a_level() -> None:
    # sRGB 200, 100, 50 is 143, 95, 50 in ROMM; back it is 200, 100, 51 (LittleCMS).
    assert finished(np.array([[[143, 95, 50]]], np.uint8), write_matrix_profile(ROMM)).tolist() == [[[200, 100, 51]]]


@pytest.mark.parametrize("space", [ADOBE_RGB, DISPLAY_P3, ROMM], ids=lambda space: space.name)
def test_pure_green_is_clipped_and_counted(space: RGBSpace) -> None:
    found = made(np.tile(np.array([0, 255, 0], np.uint8), (8, 8, 1)), write_matrix_profile(space))
    assert found.image.numpy()[0, 0].tolist() == [0, 255, 0]
    assert found.outside_gamut == 1.0


@pytest.mark.parametrize("order", [(1, 0, 2), (2, 1, 0), (1, 2, 0)])
def test_the_profile_says_which_channel_is_which(order: tuple[int, int, int]) -> None:
    grid = colour_grid()[None]
    swapped = matrix_profile(ADOBE, gamma_curve(563 / 256), order)
    straight = finished(grid, PROFILES["Adobe RGB"][1])
    assert np.abs(finished(grid[..., list(order)], swapped).astype(int) - straight).max() <= 1


@pytest.mark.parametrize(("colour", "space"), [("srgb", SRGB), ("adobe-rgb", ADOBE_RGB), ("display-p3", DISPLAY_P3)])
def test_8_bits_of_the_target_space_come_out_as_they_went_in(colour: str, space: RGBSpace) -> None:
    settings = replace(PLAIN, colour=colour)
    for picture in (grey_steps(), colour_grid(15)[None]):
        np.testing.assert_array_equal(picture, finished(picture, write_matrix_profile(space), settings))


@pytest.mark.parametrize("space", [SRGB, ADOBE_RGB, ROMM], ids=lambda space: space.name)
def test_a_fine_gradient_of_16_bits_keeps_every_level(space: RGBSpace) -> None:
    # 40 levels of 8 bits over 4096 columns: sky, plate or table cloth.
    codes = np.linspace(20_000, 30_280, 4096).round().astype(np.uint16)
    ramp = np.tile(codes[None, :, None], (2, 1, 3))
    icc_profile = write_matrix_profile(space)
    found = finished(ramp, icc_profile)[0, :, 1].astype(int)
    exact = SRGB.curve.to_encoded(space.curve.to_linear(codes / 65535)) * 255
    assert np.abs(found - exact).max() <= 0.52
    assert set(found) == set(range(found[0], found[-1] + 1))


def test_8_bits_of_romm_would_leave_levels_out() -> None:
    # What the test above is for: the same gradient, darker, from 8 bits of a wide space is banded, from 16 it is not.
    codes = np.linspace(8_000, 18_000, 4096).round().astype(np.uint16)
    ramp = np.tile(codes[None, :, None], (2, 1, 3))
    icc_profile = write_matrix_profile(ROMM)
    fine, coarse = (
        set(finished(each, icc_profile)[0, :, 1].tolist()) for each in (ramp, (ramp // 257).astype(np.uint8))
    )
    assert fine == set(range(min(fine), max(fine) + 1))
    assert len(coarse) < len(fine) - 3


def test_reduced_16_bits_are_finer_than_8_before_the_last_step() -> None:
    codes = np.linspace(20_000, 20_400, 4096).round().astype(np.uint16)
    spec = spec_of(np.tile(codes[None, :, None], (4, 1, 3)), Size(1024, 1))
    working = run_steps(image_of(np.tile(codes[None, :, None], (4, 1, 3))), spec, STEPS[:AFTER_WORKING_SPACE])
    assert len(np.unique(lightnesses_of(working.numpy()[0, :, 1]).round(3))) > 350


def spec_of(array: Array, size: Size) -> Spec:
    whole = Box(0, 0, array.shape[1], array.shape[0])
    return Spec(whole, size, matrix_of(SRGB), SRGB, SCREEN)


def test_steps_are_in_the_order_of_the_design(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ORDER:
        monkeypatch.setattr(under_test, name, lambda *_, name=name, **__: name)
    spec = spec_of(np.zeros((2, 2, 3), np.uint8), Size(1, 1))
    built: list[object] = [build(spec) for build in STEPS]
    assert [*ORDER] == built
    assert ORDER[:AFTER_WORKING_SPACE][-1] == "working_space"


def test_reducing_before_linear_light_gives_the_wrong_grey() -> None:
    checks = np.tile(np.array([[0, 255], [255, 0]], np.uint8)[..., None], (40, 40, 3))
    spec = spec_of(checks, Size(40, 40))
    right = run_steps(image_of(checks), spec, STEPS).numpy()
    codes_first = (STEPS[0], lambda spec: reduce(spec.size, brightest=None), STEPS[1], *STEPS[3:])
    wrong = run_steps(image_of(checks), spec, codes_first).numpy()
    # The mean of the light is 187.5, of the codes 127.5.
    assert abs(int(right[20, 20, 0]) - 187.5) <= 1
    assert abs(int(wrong[20, 20, 0]) - 127.5) <= 1


def test_sharpening_before_reducing_gives_another_picture() -> None:
    edge = np.full((40, 160, 3), 64, np.uint8)
    edge[:, 80:] = 192
    spec = spec_of(edge, Size(40, 10))
    # Sharpen, then reduce: the edge is as soft as without sharpening.
    order = (STEPS[0], STEPS[1], STEPS[3], STEPS[4], lambda spec: reduce(spec.size, brightest=None), *STEPS[5:])
    right, wrong = (run_steps(image_of(edge), spec, each).numpy().astype(int) for each in (STEPS, order))
    assert np.abs(right - wrong).max() >= 3
    assert np.diff(right[5, :, 0]).max() > np.diff(wrong[5, :, 0]).max()


def test_marking_before_the_target_space_gives_another_picture() -> None:
    flat = np.full((90, 120, 3), 200, np.uint8)
    spec = replace(spec_of(flat, Size(120, 90)), settings=replace(SCREEN, mark="Proof"))
    order = (*STEPS[:5], STEPS[6], STEPS[5], STEPS[7])
    right, wrong = (run_steps(image_of(flat), spec, each).numpy().astype(int) for each in (STEPS, order))
    assert np.abs(right - wrong).max() > 15  # its white would be X, Y and Z of 1, which is no white


def test_the_box_is_what_is_shown() -> None:
    frame = np.arange(60 * 80 * 3, dtype=np.uint32).reshape(60, 80, 3).astype(np.uint8)
    box = Box(13, 7, 40, 30)
    found = make_picture(pixels_of(frame), box, box.size, PLAIN).image.numpy()
    np.testing.assert_array_equal(frame[7:37, 13:53], found)


@pytest.mark.parametrize("size", [Size(300, 200), Size(299, 1), Size(1, 200), Size(97, 131), Size(1, 1)])
@pytest.mark.parametrize("mark", [None, "Proof"])
def test_a_picture_has_exactly_the_planned_size(size: Size, mark: str | None) -> None:
    frame = np.random.default_rng(1).integers(0, 256, (200, 300, 3), np.uint8)
    image = made(frame, settings=replace(SCREEN, mark=mark), size=size).image
    assert (size.width, size.height, 3, "uchar") == (image.width, image.height, image.bands, image.format)


def test_the_same_pixels_each_time() -> None:
    frame = np.random.default_rng(1).integers(0, 256, (200, 300, 3), np.uint8)
    settings = replace(SCREEN, mark="Proof")
    first, second = (finished(frame, settings=settings, size=Size(150, 100)) for _ in range(2))
    np.testing.assert_array_equal(first, second)
