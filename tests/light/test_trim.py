"""Paper sizes in pixels.

Sources: ISO 216 (A3 297 x 420 mm, A4 210 x 297, A5 148 x 210, A6 105 x 148); US sheet and print sizes in inches,
1 in = 25.4 mm exactly (International Yard and Pound Agreement, 1959). Bleeds of 3 mm and 1/8 in are common practice.
The pixels are px = mm / 25.4 * ppi, worked out by hand for each row.
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.box import WHOLE, Size
from pipeline.light.ratio import exact
from pipeline.light.trim import ppi_of, px_from_mm, size_px, trim_region

ISO_216_AT_300_PPI: dict[tuple[float, float], tuple[Size, Size]] = {
    (297, 420): (Size(3508, 4961), Size(3579, 5031)),
    (210, 297): (Size(2480, 3508), Size(2551, 3579)),
    (148, 210): (Size(1748, 2480), Size(1819, 2551)),
    (105, 148): (Size(1240, 1748), Size(1311, 1819)),
}
US_AT_300_AND_240_PPI: dict[tuple[float, float], tuple[Size, Size]] = {
    (4, 6): (Size(1200, 1800), Size(960, 1440)),
    (5, 7): (Size(1500, 2100), Size(1200, 1680)),
    (8, 10): (Size(2400, 3000), Size(1920, 2400)),
    (8.5, 11): (Size(2550, 3300), Size(2040, 2640)),
    (11, 14): (Size(3300, 4200), Size(2640, 3360)),
}
US_WITH_BLEED_OF_AN_EIGHTH: dict[tuple[float, float], Size] = {
    (4, 6): Size(1275, 1875),
    (8, 10): Size(2475, 3075),
    (8.5, 11): Size(2625, 3375),
}


@pytest.mark.parametrize("size_mm", ISO_216_AT_300_PPI)
def test_iso_216_sizes_with_and_without_bleed(size_mm: tuple[float, float]) -> None:
    trim, with_bleed = ISO_216_AT_300_PPI[size_mm]
    assert trim == size_px(size_mm, 300)
    assert with_bleed == size_px(size_mm, 300, bleed_mm=3)


@pytest.mark.parametrize("inches", US_AT_300_AND_240_PPI)
def test_us_sizes(inches: tuple[float, float]) -> None:
    size_mm = inches[0] * 25.4, inches[1] * 25.4
    assert US_AT_300_AND_240_PPI[inches] == (size_px(size_mm, 300), size_px(size_mm, 240))


@pytest.mark.parametrize("inches", US_WITH_BLEED_OF_AN_EIGHTH)
def test_us_sizes_with_bleed(inches: tuple[float, float]) -> None:
    size_mm = inches[0] * 25.4, inches[1] * 25.4
    assert US_WITH_BLEED_OF_AN_EIGHTH[inches] == size_px(size_mm, 300, bleed_mm=3.175)


def test_millimetres_in_pixels_are_not_rounded() -> None:
    assert Fraction(900 * 10, 254) == px_from_mm(3, 300)
    assert float(px_from_mm(3, 300)) == pytest.approx(35.43, abs=0.005)


@given(st.integers(1, 20_000), st.integers(1, 2000))
def test_ppi_is_what_fills_the_paper(length_px: int, length_mm: int) -> None:
    assert float(px_from_mm(length_mm, ppi_of(length_px, length_mm))) == pytest.approx(length_px, rel=1e-6, abs=1e-3)


def test_ppi_of_an_a4_width() -> None:
    assert ppi_of(2480, 210) == pytest.approx(299.96, abs=0.005)


def test_the_trim_lies_the_bleed_inside_the_box() -> None:
    trim = trim_region((203, 254), 3)
    assert (Fraction(3, 209), Fraction(3, 260)) == (exact(trim.left), exact(trim.top))
    assert (Fraction(206, 209), Fraction(257, 260)) == (exact(trim.right), exact(trim.bottom))


def test_without_bleed_the_trim_is_the_box() -> None:
    assert trim_region((203, 254)) == WHOLE
