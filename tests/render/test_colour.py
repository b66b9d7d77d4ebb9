"""Each colour step against colour-science, and what has no matrix against LittleCMS through Pillow."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
import pyvips
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline.light.cielab import xyz_to_lab
from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, ROMM, SRGB, RGBSpace
from pipeline.render.colour import linear_light, matrix_of, outside_gamut, quantise, target_space, working_space
from pipeline.render.source import source_of
from tests.light import colour_science
from tests.light.foreign_profiles import encoded_in, grey_profile, matrix_profile, table_curve, table_profile
from tests.render.charts import Array, colour_grid, finished, image_of, pixels_of

TARGETS = {SRGB: colour_science.SRGB, ADOBE_RGB: colour_science.ADOBE_RGB, DISPLAY_P3: colour_science.DISPLAY_P3}
EACH_TARGET = pytest.mark.parametrize("space", TARGETS, ids=lambda space: space.name)
MASTERS = TARGETS | {ROMM: colour_science.ROMM}
EACH_MASTER = pytest.mark.parametrize("space", MASTERS, ids=lambda space: space.name)

GRID = colour_grid(17)[None]  # 4096 colours
CMYK_PROFILE = bytes(pyvips.Image.profile_load("cmyk"))
EXACT = ImageCms.Flags.BLACKPOINTCOMPENSATION | ImageCms.Flags.NOOPTIMIZE


def working_of(array: Array, icc_profile: bytes) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    source = source_of(pixels_of(array, icc_profile))
    return working_space(source.profile)(linear_light(source.profile)(source.image))


@EACH_MASTER
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_linear_light_of_every_code(space: RGBSpace, dtype: type[np.unsignedinteger[Any]]) -> None:
    codes = np.arange(np.iinfo(dtype).max + 1).astype(dtype)
    found = linear_light(matrix_of(space))(image_of(np.repeat(codes[None, :, None], 3, 2))).numpy()
    expected = colour_science.linear(codes / np.iinfo(dtype).max, MASTERS[space])
    # The file holds the curve's numbers in 1/65536; between them lie 2e-5 of full light.
    np.testing.assert_allclose(found[0], np.repeat(expected[:, None], 3, 1), rtol=0, atol=2e-5)


@EACH_MASTER
def test_working_space_is_xyz_under_d50(space: RGBSpace) -> None:
    found = xyz_to_lab(working_of(GRID, write_matrix_profile(space)).numpy())
    expected = colour_science.lab_d50(GRID / 255, MASTERS[space])
    difference = colour_science.colour.delta_E(found, expected, method="CIE 2000")
    assert np.max(difference) <= 0.02
    assert 0 <= found[..., 0].min() <= found[..., 0].max() <= 100.001


@EACH_TARGET
def test_target_space_undoes_the_working_space(space: RGBSpace) -> None:
    light = np.random.default_rng(2).random((20, 30, 3)).astype(np.float32)
    back = target_space(space)(working_space(matrix_of(space))(image_of(light))).numpy()
    np.testing.assert_allclose(back, light, rtol=0, atol=1e-4)


@EACH_TARGET
def test_greys_are_neutral(space: RGBSpace) -> None:
    greys = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, 2)
    lab = xyz_to_lab(working_of(greys, write_matrix_profile(space)).numpy())
    assert np.abs(lab[..., 1:]).max() < 0.01


@EACH_TARGET
def test_quantise_rounds_to_the_nearest_code(space: RGBSpace) -> None:
    light = np.linspace(0, 1, 50_001) ** 3
    found = quantise(space)(image_of(np.repeat(light[None, :, None], 3, 2).astype(np.float32))).numpy()[0]
    exact = colour_science.colour.RGB_COLOURSPACES[TARGETS[space]].cctf_encoding(light) * 255
    assert found.dtype == np.uint8
    # Half a code is rounding; 0.01 the curve's numbers in the file and the table's step.
    assert np.abs(found - exact[:, None]).max() <= 0.51


@EACH_TARGET
@given(st.lists(st.floats(-3, 4, width=32), min_size=3, max_size=3))
def test_quantise_holds_to_black_and_full_light(space: RGBSpace, light: list[float]) -> None:
    found = quantise(space)(image_of(np.array([[light]], np.float32))).numpy()[0, 0]
    for code, value in zip(found, light, strict=True):
        assert (code == 0) if value <= 0 else (code == 255) if value >= 1 else 0 <= code <= 255


@pytest.mark.parametrize("space", [DISPLAY_P3, ROMM], ids=lambda space: space.name)
def test_saturated_red_lies_outside_srgb(space: RGBSpace) -> None:
    red = np.tile(np.array([250, 10, 5], np.uint8), (20, 20, 1))
    assert outside_gamut(working_of(red, write_matrix_profile(space)), SRGB) == 1.0


@EACH_TARGET
def test_what_lies_inside_counts_nothing(space: RGBSpace) -> None:
    # All sRGB colours lie inside every target space: its corners too.
    assert outside_gamut(working_of(GRID, write_matrix_profile(SRGB)), space) == 0.0


def test_half_a_picture_outside_counts_half() -> None:
    picture = np.tile(np.array([120, 110, 100], np.uint8), (20, 20, 1))
    picture[:, 10:] = (250, 10, 5)
    working = working_of(picture, write_matrix_profile(DISPLAY_P3))
    assert outside_gamut(working, SRGB) == 0.5
    assert outside_gamut(working, DISPLAY_P3) == 0.0


@pytest.mark.parametrize(
    ("linear", "share"),
    # A quarter of an 8-bit level at full light is 0.2 % of it: what rounds to a true code is not outside.
    [([1.0005, 0.5, 0.5], 0.0), ([1.01, 0.5, 0.5], 1.0), ([0.5, -0.0005, 0.5], 0.0), ([0.5, -0.01, 0.5], 1.0)],
)
def test_just_outside_is_outside(linear: list[float], share: float) -> None:
    working = working_space(matrix_of(SRGB))(image_of(np.array([[linear]], np.float32)))
    assert outside_gamut(working, SRGB) == share


@given(st.integers(0, 40), st.integers(1, 40))
def test_the_share_outside_is_counted_by_the_pixel(count: int, more: int) -> None:
    total = count + more
    picture = np.tile(np.array([120, 110, 100], np.uint8), (1, total, 1))
    picture[0, :count] = (0, 255, 0)
    assert outside_gamut(working_of(picture, write_matrix_profile(ADOBE_RGB)), SRGB) == pytest.approx(count / total)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_a_grey_profile_is_read_as_it_says(dtype: type[np.unsignedinteger[Any]]) -> None:
    top = np.iinfo(dtype).max
    codes = np.linspace(0, top, 256).round().astype(dtype)
    found = finished(codes[None], grey_profile(1.8))[0]
    # Gamma is held in 1/256. Grey has the white of the connection space, so all three bands are alike.
    light = (codes / top) ** (round(1.8 * 256) / 256)
    exact = colour_science.colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(light) * 255
    assert (found[:, :1] == found).all()
    assert np.abs(found - exact[:, None]).max() <= 0.6


@pytest.mark.parametrize(
    ("name", "most"),
    # The red of Display P3 has a Z below 0, which a table of XYZ cannot hold.
    [(colour_science.ADOBE_RGB, 0.05), (colour_science.DISPLAY_P3, 0.4), (colour_science.ROMM, 0.05)],
)
def test_a_profile_of_tables_gives_what_the_matrix_gives(name: str, most: float) -> None:
    tables = table_profile(name)
    inside = np.rint(encoded_in(name, GRID / 255) * 65535).astype(np.uint16)
    by_tables, by_matrix = (working_of(inside, each).numpy() for each in (tables, matrix_profile(name)))
    assert read_matrix_profile(tables) is None
    # A colour management module joins curves and table into one of 33 steps: 0.8 of a unit off in the darkest blues.
    difference = colour_science.colour.delta_E(by_tables, by_matrix, method="CIE 2000")
    assert np.max(difference) <= most


def test_black_of_a_profile_that_begins_above_nothing_is_compensated() -> None:
    # A screen's profile whose black still shines; its black becomes black. Judge: LittleCMS, with compensation.
    icc_profile = matrix_profile("sRGB", table_curve((0.02 + 0.98 * np.linspace(0, 1, 256) ** 2.2).tolist()))
    ours, theirs = finished(GRID, icc_profile), by_littlecms(GRID, icc_profile, "RGB")
    assert finished(np.zeros((1, 1, 3), np.uint8), icc_profile).max() <= 1
    assert np.max(colour_science.difference(ours / 255, theirs / 255)) <= 1.0


def test_cmyk_by_its_profile() -> None:
    ink = np.stack(np.meshgrid(*[np.arange(0, 256, 51, dtype=np.uint8)] * 4), -1).reshape(1, -1, 4)
    ours, theirs = finished(ink, CMYK_PROFILE), by_littlecms(ink, CMYK_PROFILE, "CMYK")
    assert np.abs(ours - theirs).max() <= 1
    assert colour_science.difference(ours / 255, theirs / 255).max() <= 1.0
    assert ours[0, 0].tolist() == [255, 255, 255]


def test_cmyk_black_becomes_black() -> None:
    ink = np.full((1, 1, 4), 255, np.uint8)
    assert by_littlecms(ink, CMYK_PROFILE, "CMYK", flags=ImageCms.Flags.NOOPTIMIZE).mean() > 30
    assert finished(ink, CMYK_PROFILE).mean() < 10


def by_littlecms(array: Array, icc_profile: bytes, mode: str, flags: ImageCms.Flags = EXACT) -> Array:
    """Return sRGB (0..255) by Pillow's LittleCMS, relative colorimetric, without the short cuts that it takes."""
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc_profile)),
        ImageCms.createProfile("sRGB"),
        mode,
        "RGB",
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags,
    )
    height, width = array.shape[:2]
    converted = ImageCms.applyTransform(Image.frombytes(mode, (width, height), array.tobytes()), transform)
    assert converted is not None
    return np.asarray(converted, dtype=np.float64)
