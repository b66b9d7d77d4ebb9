"""Output sharpening, measured: acuity by the slanted edge, overshoot, noise; and what it must leave alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.sharpness import SCREEN_SIGMA_PX, paper_sigma_px
from pipeline.light.spaces import SRGB
from pipeline.light.transfer import SRGB_CURVE
from pipeline.render.colour import matrix_of, target_space, working_space
from pipeline.render.sharpen import sharpen_lightness
from tests.render.charts import SCREEN as SHARP
from tests.render.charts import Array, finished, image_of
from tests.render.slanted_edge import GAUSSIAN_MTF50, Floats, blurred_edge, mtf50, profile

SCREEN = (SCREEN_SIGMA_PX, 1.0, 0.08)
PAPER = [(paper_sigma_px(viewing_mm, 300), 1.0, 0.20) for viewing_mm in (300, 400, 10_000)]
ALL = pytest.mark.parametrize("settings", [SCREEN, *PAPER], ids=["screen", "300 mm", "400 mm", "far"])

# Edges between two sRGB codes, blurred as a reduced picture is (common practice, no source: sigma 0.7 px).
EDGES = pytest.mark.parametrize("codes", [(64, 192), (100, 140), (20, 235)], ids=str)
BLUR_PX = 0.7


def edge_between(codes: tuple[int, int], blur_px: float = BLUR_PX) -> Floats:
    """Return linear light of a slanted edge from one sRGB code to another."""
    low, high = SRGB_CURVE.to_linear(np.array(codes) / 255).tolist()
    return blurred_edge(low, high, blur_px)


def lab_of(luminance: Floats) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return the CIE Lab image of a grey picture of linear light."""
    return working_space(matrix_of(SRGB))(image_of(np.repeat(luminance[..., None], 3, 2).astype(np.float32)))


def lightness(image: Any) -> Floats:  # noqa: ANN401 (as above)
    return np.asarray(image.numpy()[..., 0], dtype=np.float64)


def luminance(image: Any) -> Floats:  # noqa: ANN401 (as above)
    return np.asarray(target_space(SRGB)(image).numpy()[..., 1], dtype=np.float64)


def grain(sigma_codes: float) -> Floats:
    """Return linear light of a flat middle grey with noise."""
    noise = np.random.default_rng(3).normal(0, sigma_codes, (128, 128))
    return SRGB_CURVE.to_linear((128 + noise) / 255)


@pytest.mark.parametrize("sigma_px", [0.5, 0.7, 1.0, 1.5, 2.0])
def test_the_slanted_edge_measures_a_known_blur(sigma_px: float) -> None:
    # Source: a Gaussian of sigma px has its MTF50 at 0.1874 / sigma cycles a pixel.
    expected = GAUSSIAN_MTF50 / sigma_px
    assert pytest.approx(0.1874, abs=5e-5) == GAUSSIAN_MTF50
    assert expected == pytest.approx(mtf50(blurred_edge(0.05, 0.5, sigma_px)), rel=0.03)


@EDGES
def test_a_picture_for_the_screen_gains_20_to_60_percent_of_acuity(codes: tuple[int, int]) -> None:
    edge = edge_between(codes)
    gain = mtf50(luminance(sharpen_lightness(*SCREEN)(lab_of(edge)))) / mtf50(edge)
    assert 1.2 <= gain <= 1.6


@pytest.mark.parametrize("settings", PAPER, ids=["300 mm", "400 mm", "far"])
@EDGES
def test_a_picture_for_paper_gains_more(codes: tuple[int, int], settings: tuple[float, float, float]) -> None:
    edge = lab_of(edge_between(codes))
    screen, paper = (mtf50(luminance(sharpen_lightness(*each)(edge))) for each in (SCREEN, settings))
    assert paper > screen


@EDGES
def test_more_amount_is_more_acuity(codes: tuple[int, int]) -> None:
    sigma, _, halo = SCREEN
    edge = lab_of(edge_between(codes))
    found = [mtf50(luminance(sharpen_lightness(sigma, amount, halo)(edge))) for amount in (0.0, 0.5, 1.0, 2.0)]
    assert sorted(set(found)) == found


@ALL
@EDGES
@pytest.mark.parametrize("amount", [1.0, 2.0])
@pytest.mark.parametrize("blur_px", [0.4, BLUR_PX])
def test_a_halo_is_no_higher_than_its_limit(
    codes: tuple[int, int], settings: tuple[float, float, float], amount: float, blur_px: float
) -> None:
    sigma, _, limit = settings
    edge = lab_of(edge_between(codes, blur_px))
    before, after = lightness(edge), lightness(sharpen_lightness(sigma, amount, limit)(edge))
    step = before.max() - before.min()
    assert (after.max() - before.max()) / step <= limit
    assert (before.min() - after.min()) / step <= limit


def test_without_its_limit_the_halo_would_be_higher() -> None:
    sigma, amount, limit = PAPER[-1]
    edge = lab_of(edge_between((64, 192)))
    held, free = (lightness(sharpen_lightness(sigma, amount, each)(edge)).max() for each in (limit, 10.0))
    assert free > held + 1


def test_the_halo_lies_within_reach_of_the_edge() -> None:
    # The gain of an edge is spent within three pixels of it; further out nothing has changed.
    edge = lab_of(edge_between((64, 192)))
    change = np.abs(profile(lightness(sharpen_lightness(*SCREEN)(edge)) - lightness(edge)))
    reach = 3 * 4
    middle = len(change) // 2
    assert change[middle - reach : middle + reach].max() > 2
    assert max(change[: middle - reach].max(), change[middle + reach :].max()) < 0.01


@ALL
def test_fine_grain_is_not_raised(settings: tuple[float, float, float]) -> None:
    flat = lab_of(grain(0.5))
    gain = lightness(sharpen_lightness(*settings)(flat)).std() / lightness(flat).std()
    assert 0.99 <= gain <= 1.05


def test_coarse_grain_is_raised_less_than_an_edge() -> None:
    flat = lab_of(grain(2.0))
    gain = lightness(sharpen_lightness(*SCREEN)(flat)).std() / lightness(flat).std()
    assert gain <= 1.15


@ALL
@given(level=st.floats(0, 100, width=32), a=st.floats(-80, 80, width=32), b=st.floats(-80, 80, width=32))
def test_a_flat_picture_is_unchanged(level: float, a: float, b: float, settings: tuple[float, float, float]) -> None:
    flat = np.tile(np.array([level, a, b], np.float32), (9, 11, 1))
    np.testing.assert_allclose(sharpen_lightness(*settings)(image_of(flat)).numpy(), flat, rtol=0, atol=1e-4)


@ALL
def test_black_and_blown_parts_stay_so(settings: tuple[float, float, float]) -> None:
    codes = np.full((40, 60), 128.0)
    codes[:, :20], codes[:, 40:] = 0, 255
    picture = np.repeat(codes[..., None], 3, 2).astype(np.uint8)
    found = lightness(sharpen_lightness(*settings)(image := lab_of(SRGB_CURVE.to_linear(codes / 255))))
    np.testing.assert_array_equal(lightness(image)[:, :20], found[:, :20])
    np.testing.assert_array_equal(lightness(image)[:, 40:], found[:, 40:])
    assert np.abs(lightness(image) - found)[:, 20:40].max() > 1
    assert (finished(picture, settings=SHARP)[:, :20] == 0).all()


@ALL
def test_hue_and_chroma_are_left_alone(settings: tuple[float, float, float]) -> None:
    lab = np.random.default_rng(5).uniform([0, -60, -60], [100, 60, 60], (40, 50, 3)).astype(np.float32)
    found = sharpen_lightness(*settings)(image_of(lab)).numpy()
    np.testing.assert_array_equal(lab[..., 1:], found[..., 1:])
    assert np.abs(lab[..., 0] - found[..., 0]).max() > 1


@pytest.mark.parametrize("settings", [(0.6, 0.0, 0.08), (0.0, 1.0, 0.08), (0.0, 0.0, 0.0)])
def test_no_amount_is_no_change(settings: tuple[float, float, float]) -> None:
    lab: Array = np.random.default_rng(5).uniform(0, 100, (20, 30, 3)).astype(np.float32)
    np.testing.assert_array_equal(lab, sharpen_lightness(*settings)(image_of(lab)).numpy())


@ALL
def test_a_mirrored_picture_comes_out_mirrored(settings: tuple[float, float, float]) -> None:
    lab = np.random.default_rng(6).uniform(0, 100, (31, 44, 3)).astype(np.float32)
    found = sharpen_lightness(*settings)(image_of(lab)).numpy()
    for turned in (np.s_[:, ::-1], np.s_[::-1]):
        mirrored = sharpen_lightness(*settings)(image_of(lab[turned])).numpy()[turned]
        np.testing.assert_allclose(mirrored, found, rtol=0, atol=1e-4)
