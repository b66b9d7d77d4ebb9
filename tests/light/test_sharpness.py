"""Halo sizes against published rules of output sharpening."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.sharpness import MM_PER_INCH, paper_halo_mm, paper_sigma_px

distances = st.floats(100, 10_000)
ppis = st.floats(50, 2400)


@given(distances)
def test_a_halo_on_paper_is_a_hundredth_to_a_fiftieth_of_an_inch(viewing_mm: float) -> None:
    # Source: Fraser, Real World Image Sharpening: 1/100 to 1/50 inch.
    assert MM_PER_INCH / 100 <= paper_halo_mm(viewing_mm) <= MM_PER_INCH / 50


@pytest.mark.parametrize(
    ("ppi", "narrow_px", "wide_px"), [(180, 1.8, 3.6), (240, 2.4, 4.8), (300, 3.0, 6.0), (360, 3.6, 7.2)]
)
def test_the_same_in_pixels(ppi: float, narrow_px: float, wide_px: float) -> None:
    # Source: the rule above, times ppi. A sigma is a quarter of the halo.
    assert narrow_px == pytest.approx(4 * paper_sigma_px(100, ppi))
    assert wide_px == pytest.approx(4 * paper_sigma_px(10_000, ppi))


@pytest.mark.parametrize(
    ("inches", "half_px"),
    # Source: radius = viewing distance (inch) x ppi x 0.0004, printed in two guides; in the hand, ppi / 200.
    [(12, 300 / 200), (20, 20 * 300 * 0.0004), (24, 24 * 300 * 0.0004)],
)
def test_half_a_halo_at_300_ppi(inches: float, half_px: float) -> None:
    assert half_px == pytest.approx(paper_halo_mm(inches * MM_PER_INCH) / 2 / MM_PER_INCH * 300)


@given(distances, distances, ppis)
def test_what_is_seen_from_further_away_gets_no_narrower_halo(one_mm: float, other_mm: float, ppi: float) -> None:
    near, far = sorted((one_mm, other_mm))
    assert paper_sigma_px(near, ppi) <= paper_sigma_px(far, ppi)


@given(distances, ppis)
def test_twice_the_pixels_an_inch_is_twice_the_sigma(viewing_mm: float, ppi: float) -> None:
    assert 2 * paper_sigma_px(viewing_mm, ppi) == pytest.approx(paper_sigma_px(viewing_mm, 2 * ppi))
