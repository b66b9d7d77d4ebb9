"""Grain: known noise on denoised and reduced photographs, in levels and in L*; the sample; ISO."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from pipeline.frames.inspection import grain
from pipeline.frames.inspection.view import planes_of
from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB
from pipeline.light.thresholds import house_thresholds
from pipeline.light.transfer import Parametric
from tests.frames.inspection.pictures import FRAMES, PACKAGED, SILENT, packaged, pixels_of, sample
from tests.light.colour_science import colour
from tests.light.foreign_tables import PRESS

if TYPE_CHECKING:
    from numpy.typing import NDArray

HOUSE = house_thresholds()
CHANCE = np.random.default_rng(23)
PHOTOGRAPHS = ["astronaut.png", "chelsea.png", "coffee.png", "motorcycle_left.png", "rocket.jpg", "china.jpg"]


def levels_of(name: str) -> NDArray[np.float64]:
    """Return a photograph without noise of its own: the sample's reduced, those that packages ship softened."""
    if name in FRAMES:
        codes = sample(name).pixels.image.resize(0.4).numpy().astype(np.float64)
        codes *= 255 / (65535 if codes.max() > 255 else 255)
        return np.asarray(ndimage.gaussian_filter(codes, (1, 1, 0)))
    codes = packaged(name).pixels.image.numpy().astype(np.float64)
    return np.asarray(ndimage.gaussian_filter(codes, (1.5, 1.5, 0)))


def noisy(levels: NDArray[np.float64], sigma: float) -> NDArray[np.uint8]:
    added = levels + CHANCE.normal(0, sigma, levels.shape)
    return np.clip(np.rint(added), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("sigma", [1, 2, 4, 8, 15])
@pytest.mark.parametrize("name", [*PHOTOGRAPHS, "overhead.tif", "three-quarter.jpg", "tomatoes.jpg"])
def test_known_noise_within_10_percent(name: str, sigma: float) -> None:
    found = grain.grain_of(pixels_of(noisy(levels_of(name), sigma)))
    assert sigma == pytest.approx(found.levels, rel=0.10)


@pytest.mark.parametrize("profile", [write_matrix_profile(ADOBE_RGB), None], ids=["Adobe RGB", "sRGB"])
def test_in_lightness_as_colour_science_has_it(profile: bytes | None) -> None:
    codes = noisy(np.full((600, 800, 3), 128.0), 6)
    space = "Adobe RGB (1998)" if profile else "sRGB"
    xyz = colour.RGB_to_XYZ(codes / 255, space, apply_cctf_decoding=True)
    lightness = colour.XYZ_to_Lab(xyz, colour.RGB_COLOURSPACES[space].whitepoint)[..., 0]
    assert lightness.std() == pytest.approx(grain.grain_of(pixels_of(codes, profile)).lightness, rel=0.05)


def test_sixteen_bits_are_told_in_levels_of_255() -> None:
    codes = np.clip(np.rint(30000 + CHANCE.normal(0, 3 * 257, (200, 300, 3))), 0, 65535).astype(np.uint16)
    assert grain.grain_of(pixels_of(codes)).levels == pytest.approx(3.0, rel=0.05)


@pytest.mark.parametrize("name", FRAMES)
def test_of_the_sample_only_the_frame_at_iso_1600_has_grain(name: str) -> None:
    found = [(one.rule, one.level) for one in grain.look(sample(name).pixels, SILENT, HOUSE)[1]]
    assert found == ([("grain", "note")] if name == "warm-bulb.jpg" else [])


def test_iso_is_named_with_it() -> None:
    frame = sample("warm-bulb.jpg")
    _, (finding,) = grain.look(frame.pixels, frame.header.camera, HOUSE)
    assert finding.says.startswith("Grain shows at ISO 1600: even surfaces differ by 3.")
    assert "ISO 100" in finding.advice


@pytest.mark.parametrize("name", PACKAGED)
def test_grain_of_photographs_that_packages_ship_is_small(name: str) -> None:
    assert grain.look(packaged(name).pixels, SILENT, HOUSE)[1] == ()


@pytest.mark.parametrize(("iso", "noted"), [(100, False), (640, False), (800, True), (3200, True), (None, False)])
def test_a_clean_frame_at_a_high_iso(iso: int | None, *, noted: bool) -> None:
    clean = pixels_of(np.full((100, 150, 3), 120, np.uint8))
    _, findings = grain.look(clean, replace(SILENT, iso=iso), HOUSE)
    assert noted == bool(findings)
    assert all(one.source == "common practice, no source" for one in findings)


def test_planes_at_hand_give_the_same() -> None:
    pixels = sample("overhead.tif").pixels
    assert grain.grain_of(pixels) == grain.grain_of(pixels, planes_of(pixels))


def test_clipped_tiles_have_no_noise_to_show() -> None:
    codes = np.full((320, 320, 3), 255, np.uint8)
    codes[:160] = noisy(np.full((160, 320, 3), 120.0), 5)
    assert grain.grain_of(pixels_of(codes)).levels == pytest.approx(5, rel=0.06)
    assert grain.grain_of(pixels_of(codes[160:])).levels == 0.0


@settings(max_examples=30)
@given(st.data())
def test_any_codes_give_finite_measures(data: st.DataObject) -> None:
    bands = data.draw(st.sampled_from([1, 3, 4]))
    side = st.integers(1, 50)
    codes = data.draw(arrays(np.uint8, st.tuples(side, side, st.just(bands)), fill=st.integers(0, 255)))
    profiles = {1: write_grey_profile("grey", Parametric(2.2)), 3: None, 4: PRESS}
    measures, _ = grain.look(pixels_of(codes, profiles[bands]), SILENT, HOUSE)
    assert np.isfinite(list(measures.values())).all()
