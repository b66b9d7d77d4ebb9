"""Sizes of halos against published rules of output sharpening, and strengths against their definitions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.sharpness import (
    FRAME_SIGMA_PX,
    KERNEL_SIGMA_PX,
    MM_PER_INCH,
    REDUCED_GAIN,
    UNREDUCED_GAIN,
    edge_sigma_px,
    gaussian_taps,
    halo_width_px,
    paper_halo_mm,
    paper_radius_px,
    range_of_noise,
    screen_gain,
    sigma_for_halo,
    strength_for_gain,
    strength_for_overshoot,
)

distances = st.floats(100, 10_000)
ppis = st.floats(50, 2400)
reductions = st.floats(1, 100)


@given(distances)
def test_a_halo_on_paper_is_a_hundredth_to_a_fiftieth_of_an_inch(viewing_mm: float) -> None:
    # Source: Fraser, Real World Image Sharpening: 1/100 to 1/50 inch.
    assert MM_PER_INCH / 100 <= paper_halo_mm(viewing_mm) <= MM_PER_INCH / 50


@pytest.mark.parametrize(
    ("ppi", "narrow_px", "wide_px"), [(180, 1.8, 3.6), (240, 2.4, 4.8), (300, 3.0, 6.0), (360, 3.6, 7.2)]
)
def test_the_same_in_pixels(ppi: float, narrow_px: float, wide_px: float) -> None:
    # Source: the rule above, times ppi.
    assert narrow_px == pytest.approx(2 * paper_radius_px(100, ppi))
    assert wide_px == pytest.approx(2 * paper_radius_px(10_000, ppi))


@pytest.mark.parametrize(
    ("inches", "half_px"),
    # Source: radius = viewing distance (inch) x ppi x 0.0004, printed in two guides; in the hand, ppi / 200.
    [(12, 300 / 200), (20, 20 * 300 * 0.0004), (24, 24 * 300 * 0.0004)],
)
def test_half_a_halo_at_300_ppi(inches: float, half_px: float) -> None:
    assert half_px == pytest.approx(paper_radius_px(inches * MM_PER_INCH, 300))


@given(distances, distances, ppis)
def test_what_is_seen_from_further_away_gets_no_narrower_halo(one_mm: float, other_mm: float, ppi: float) -> None:
    near, far = sorted((one_mm, other_mm))
    assert paper_radius_px(near, ppi) <= paper_radius_px(far, ppi)


@given(reductions, reductions)
def test_the_more_a_picture_is_reduced_the_sharper_are_its_edges(one: float, other: float) -> None:
    less, more = sorted((one, other))
    assert edge_sigma_px(less) >= edge_sigma_px(more) >= KERNEL_SIGMA_PX
    assert edge_sigma_px(1) == pytest.approx(FRAME_SIGMA_PX, rel=0.05)
    assert UNREDUCED_GAIN == screen_gain(1) >= screen_gain(less) >= screen_gain(more) >= REDUCED_GAIN == screen_gain(2)


@pytest.mark.parametrize(("edge_px", "sigma_px"), [(0.4, 0.6), (0.56, 1.0), (0.8, 0.5), (0.8, 2.5), (0.4, 6.0)])
def test_a_halo_is_as_wide_as_a_profile_drawn_point_by_point(edge_px: float, sigma_px: float) -> None:
    at = np.arange(-40, 40, 0.001)
    edge, blurred = (
        np.array([math.erf(x / (sigma * math.sqrt(2))) for x in at])
        for sigma in (edge_px, math.hypot(edge_px, sigma_px))
    )
    line = edge - blurred
    wide = at[line > line.max() / 2].max() - at[line < line.min() / 2].min()
    assert wide == pytest.approx(halo_width_px(edge_px, sigma_px), rel=1e-3)


@given(st.floats(2, 40), st.floats(0.37, 0.85))
def test_the_sigma_of_a_halo_gives_that_halo_or_the_narrowest(width_px: float, edge_px: float) -> None:
    sigma = sigma_for_halo(width_px, edge_px)
    assert halo_width_px(edge_px, sigma) == pytest.approx(max(width_px, halo_width_px(edge_px, 0.5)), rel=1e-6)


@given(st.floats(0.3, 12))
def test_the_taps_are_a_gaussian_of_one_whole(sigma_px: float) -> None:
    taps = gaussian_taps(sigma_px)
    assert taps[0] + 2 * sum(taps[1:]) == pytest.approx(1)
    assert math.log(taps[0] / taps[1]) == pytest.approx(1 / (2 * sigma_px**2))
    assert sorted(taps, reverse=True) == list(taps)


@given(st.floats(0.3, 6), st.floats(0.1, 0.6))
def test_the_strength_raises_mtf50_by_the_gain(sigma_px: float, gain: float) -> None:
    # MTF of the reference edge (sigma 0.7 px) times the response of the mask, at the frequency it should reach.
    taps = gaussian_taps(sigma_px)
    frequency = (1 + gain) * 0.18739 / 0.7
    response = sum(
        weight * math.cos(2 * math.pi * frequency * (at - len(taps) + 1))
        for at, weight in enumerate([*reversed(taps[1:]), *taps])
    )
    raised = math.exp(-2 * (math.pi * frequency * 0.7) ** 2) * (1 + strength_for_gain(taps, gain) * (1 - response))
    assert raised == pytest.approx(0.5, abs=1e-4)


@pytest.mark.parametrize("sigma_px", [0.6, 1.5, 3.0])
def test_the_line_beside_an_edge_is_as_high_as_asked(sigma_px: float) -> None:
    at = np.arange(-30, 30, 0.01)
    share = [
        np.array([(1 + math.erf(x / (s * math.sqrt(2)))) / 2 for x in at]) for s in (0.7, math.hypot(0.7, sigma_px))
    ]
    assert (share[0] - share[1]).max() * strength_for_overshoot(sigma_px, 0.2) == pytest.approx(0.2, rel=1e-3)


@pytest.mark.parametrize(("count", "expected"), [(2, 1.128), (5, 2.326), (9, 2.970), (16, 3.532), (25, 3.931)])
def test_the_range_of_noise(count: int, expected: float) -> None:
    # Source: the constants d2 of quality control charts (ISO 7870-2; from memory).
    assert expected == pytest.approx(range_of_noise(count), abs=6e-4)
