"""What is looked at: linear light against arithmetic, colour-science and LittleCMS; tiles against the codes."""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from pipeline.frames.inspection.view import in_light, original, planes_of, reduced_light, tiles
from pipeline.light.box import Box, Point
from pipeline.light.cielab import xyz_to_lab
from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, ROMM, SRGB, RGBSpace, rgb_to_pcs
from pipeline.light.transfer import Parametric
from tests.frames.inspection.pictures import pixels_of
from tests.light.colour_science import colour
from tests.light.foreign_tables import PRESS

CHANCE = np.random.default_rng(8)
NAMES = {"sRGB": SRGB, "Display P3": DISPLAY_P3, "Adobe RGB (1998)": ADOBE_RGB, "ROMM RGB": ROMM}


def test_light_is_averaged_and_not_codes() -> None:
    grid = np.indices((400, 600)).sum(axis=0) % 2
    light = reduced_light(pixels_of((grid[..., None] * np.full(3, 255)).astype(np.uint8)), 100)
    # Black and white in turn give half the light: code 188 by IEC 61966-2-1, not 128.
    np.testing.assert_allclose(light[5:-5, 5:-5], 0.5, atol=0.01)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_colours_are_colour_sciences(name: str, kind: type[np.uint8 | np.uint16]) -> None:
    space: RGBSpace = NAMES[name]
    codes = CHANCE.integers(0, np.iinfo(kind).max, (6, 8, 3), endpoint=True, dtype=kind)
    ours = reduced_light(pixels_of(codes, write_matrix_profile(space)))
    theirs = colour.RGB_to_RGB(
        codes / np.iinfo(kind).max, name, "sRGB", chromatic_adaptation_transform="Bradford", apply_cctf_decoding=True
    )
    # The matrices of the standards have four digits.
    np.testing.assert_allclose(ours, theirs, atol=0.003)


def test_grey_is_neutral() -> None:
    gamma = write_grey_profile("grey", Parametric(2.2))
    light = reduced_light(pixels_of(np.array([[[0], [128], [255]]], np.uint8), gamma))
    expected = np.array([[[0.0] * 3, [(128 / 255) ** 2.2] * 3, [1.0] * 3]])
    np.testing.assert_allclose(light, expected, atol=2e-4)


def test_a_press_is_littlecms() -> None:
    # Paper, single inks and mixtures, but no blacks: these are laid on black as LittleCMS does in another place.
    inks = np.array([[0, 0, 0, 0], [90, 0, 0, 0], [0, 90, 0, 0], [0, 0, 120, 0], [40, 60, 20, 10]], np.uint8)
    light = reduced_light(pixels_of(inks[None], PRESS))
    ours = xyz_to_lab(light[0] @ rgb_to_pcs(SRGB).T)
    picture = Image.frombytes("CMYK", (5, 1), inks.tobytes())
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(PRESS)), ImageCms.createProfile("sRGB"), "CMYK", "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC, flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )  # fmt: skip
    codes = np.asarray(ImageCms.applyTransform(picture, transform), dtype=np.float64)[0] / 255
    theirs = xyz_to_lab(SRGB.curve.to_linear(codes) @ rgb_to_pcs(SRGB).T)
    in_gamut = (np.clip(light[0], 0.005, 0.995) == light[0]).all(axis=1)
    assert np.count_nonzero(in_gamut) >= 3
    assert np.asarray(colour.delta_E(ours, theirs, method="CIE 2000"))[in_gamut].max() < 2.0


@settings(max_examples=25)
@given(st.integers(1, 70), st.integers(1, 70), st.sampled_from([1, 3]), st.integers(1, 40))
def test_sizes(height: int, width: int, bands: int, long_side: int) -> None:
    profile = write_grey_profile("grey", Parametric(2.2)) if bands == 1 else None
    light = reduced_light(pixels_of(np.zeros((height, width, bands), np.uint8), profile), long_side)
    assert light.shape[2] == 3
    assert max(light.shape[:2]) == min(long_side, max(height, width))
    scale = min(long_side / max(height, width), 1)
    assert light.shape[:2] == pytest.approx((max(height * scale, 1), max(width * scale, 1)), abs=0.51)


def test_tiles_are_the_frames_own_codes() -> None:
    codes = CHANCE.integers(0, 255, (300, 500, 3), dtype=np.uint8)
    pixels = pixels_of(codes)
    first, middle, last = tiles(pixels, [Point(0, 0), Point(0.5, 0.5), Point(1, 1)], 64)
    assert first.box == Box(0, 0, 64, 64)
    assert middle.box == Box(218, 118, 64, 64)
    assert last.box == Box(436, 236, 64, 64)
    for tile in (first, middle, last):
        part = codes[tile.box.top : tile.box.bottom, tile.box.left : tile.box.right]
        np.testing.assert_array_equal(np.rint(tile.values * 255), part)
    assert original(pixels, Box(3, 4, 5, 6)).shape == (6, 5, 3)


def test_a_tile_is_cut_to_a_small_frame() -> None:
    (tile,) = tiles(pixels_of(np.zeros((20, 90, 3), np.uint8)), [Point(0.9, 0.9)], 64)
    assert tile.box == Box(26, 0, 64, 20)


def test_light_of_tiles_is_light_of_the_frame() -> None:
    for codes, profile in (
        (CHANCE.integers(0, 255, (9, 7, 3), dtype=np.uint8), write_matrix_profile(ADOBE_RGB)),
        (CHANCE.integers(0, 255, (9, 7, 1), dtype=np.uint8), write_grey_profile("grey", Parametric(1.8))),
        (CHANCE.integers(0, 255, (9, 7, 4), dtype=np.uint8), PRESS),
    ):
        pixels = pixels_of(codes, profile)
        np.testing.assert_allclose(in_light(pixels, codes / 255), reduced_light(pixels), atol=1e-5)


def test_planes_are_the_bands() -> None:
    codes = CHANCE.integers(0, 65535, (5, 6, 3), dtype=np.uint16)
    planes = planes_of(pixels_of(codes))
    np.testing.assert_array_equal(codes.transpose(2, 0, 1), planes)
    assert all(plane.flags.c_contiguous for plane in planes)
