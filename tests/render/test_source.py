"""Frames whose profile has tables: what light they become, against the judge's float64 reader and LittleCMS."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.light.black_point import source_black
from pipeline.light.cielab import lightness_of, xyz_to_lab
from pipeline.render.colour import linear_light, working_space
from pipeline.render.source import source_of
from tests.light.colour_science import Floats, colour
from tests.light.foreign_profiles import assembled, gamma_curve, grey_profile, matrix_profile, table_curve
from tests.light.foreign_tables import PRESS, press_profile, printer_profile
from tests.render.charts import Array, finished, pixels_of
from tests.render.icc_tables import Judge, lab_of, without_black

PROFILES = {
    "press of libvips": (PRESS, 4),
    "press, version 4": (press_profile("elements"), 4),
    "press of 8-bit tables": (press_profile("mft1"), 4),
    "printer": (printer_profile(), 3),
    "printer by XYZ": (printer_profile(b"XYZ "), 3),
}
EACH = pytest.mark.parametrize("name", PROFILES)


def lab_by_steps(array: Array, profile: bytes) -> Floats:
    """Return Lab (n, 3) of a picture (1, n, bands), by the first steps of a picture."""
    source = source_of(pixels_of(array, profile))
    xyz = working_space(source.profile)(linear_light(source.profile)(source.image))
    return np.asarray(xyz_to_lab(xyz.numpy()[0].astype(np.float64)))


@EACH
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_light_is_what_the_judge_reads_in_the_tables(name: str, dtype: type[np.uint8 | np.uint16]) -> None:
    profile, bands = PROFILES[name]
    codes = np.random.default_rng(3).integers(0, np.iinfo(dtype).max + 1, (1, 2000, bands), dtype)
    wanted = Judge(profile).to_lab(codes[0] / np.iinfo(dtype).max)
    wanted = without_black(wanted, lightness_of(source_black(profile)))
    found = lab_by_steps(codes, profile)
    assert np.abs(found - wanted)[wanted[:, 0] > 8].max() < 0.03
    # Where the curve of Lab becomes straight, colours darker than black have an a and b of 100 and more.
    assert np.abs(found - wanted).max() < 0.3


def test_a_frame_with_curves_and_colorants_is_left_alone() -> None:
    pixels = pixels_of(np.zeros((2, 2, 3), np.uint8))
    source = source_of(pixels)
    assert (source.codes == pixels.image.numpy()).all()
    assert (source.image.numpy() == source.codes).all()


def test_grey_by_lightness_is_read_as_lightness() -> None:
    profile = assembled({b"kTRC": gamma_curve(1.0)}, channels=b"GRAY", pcs=b"Lab ")
    codes = np.arange(256, dtype=np.uint8)[None]
    found = lab_by_steps(codes, profile)
    np.testing.assert_allclose(found[:, 0], codes[0] / 2.55, rtol=0, atol=0.01)
    assert np.abs(found[:, 1:]).max() < 0.01


def test_grey_by_light_needs_no_tables() -> None:
    codes = np.arange(256, dtype=np.uint8)[None]
    found = lab_by_steps(codes, grey_profile(1.8))
    light = (codes[0] / 255) ** (461 / 256)
    np.testing.assert_allclose(found[:, 0], lab_of(light[:, None] * [0.9642, 1, 0.8249])[:, 0], rtol=0, atol=0.01)


def test_a_screen_whose_black_shines_has_its_black_brought_down() -> None:
    profile = matrix_profile("sRGB", table_curve((0.02 + 0.98 * np.linspace(0, 1, 256) ** 2.2).tolist()))
    codes = np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, axis=2)
    found = lab_by_steps(codes, profile)
    expected = colour.XYZ_to_Lab(
        np.array([0.9642, 1, 0.8249]) * (np.arange(256)[:, None] / 255) ** 2.2, (0.3457, 0.3585)
    )
    np.testing.assert_allclose(found[:, 0], np.asarray(expected)[:, 0], rtol=0, atol=0.05)


def test_white_of_paper_is_white_and_black_of_the_press_is_black() -> None:
    paper = np.zeros((1, 1, 4), np.uint8)
    assert finished(paper, PRESS).tolist() == [[[255, 255, 255]]]
    # All inks at once are darker than the press's own black, and bluer.
    assert finished(np.full((1, 1, 4), 255, np.uint8), PRESS).mean() < 10


def test_a_profile_that_cannot_be_read_is_told() -> None:
    with pytest.raises(ValueError, match="its ICC profile cannot be read"):
        source_of(pixels_of(np.zeros((1, 1, 4), np.uint8), PRESS[:500]))
