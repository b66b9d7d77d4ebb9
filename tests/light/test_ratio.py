from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.ratio import exact, half_up, height_at, narrowest_at, parse_ratio, widest_at

ratios = st.fractions(min_value=Fraction(1, 20), max_value=20, max_denominator=300)


@pytest.mark.parametrize(
    ("text", "ratio"),
    [
        ("16:9", Fraction(16, 9)),
        ("4:5", Fraction(4, 5)),
        ("1.91:1", Fraction(191, 100)),
        (" 2 : 3 ", Fraction(2, 3)),
        ("21.0:29.7", Fraction(70, 99)),
    ],
)
def test_a_ratio_is_read_exactly(text: str, ratio: Fraction) -> None:
    assert ratio == parse_ratio(text)


@pytest.mark.parametrize(
    "text", ["", "16", "16x9", "16:0", "0:9", "0.0:1", "-4:5", "4:5:6", "a:b", "1e3:1", "16/9", ".5:1"]
)
def test_what_is_no_ratio_is_named(text: str) -> None:
    with pytest.raises(ValueError, match="is no ratio; write width:height with both above 0, for example 16:9"):
        parse_ratio(text)


def test_a_typed_number_and_a_quotient_come_back_exactly() -> None:
    assert Fraction(31, 100) == exact(0.31)
    assert Fraction(1, 3) == exact(1 / 3)
    assert Fraction(5, 203) == exact(5 / 203)
    assert Fraction(43, 50) == exact(1 - 0.14)


@given(st.floats(0, 1))
def test_exact_is_within_half_a_millionth(number: float) -> None:
    assert abs(exact(number) - Fraction(number)) <= Fraction(1, 2_000_000)


@pytest.mark.parametrize(("number", "whole"), [("0.5", 1), ("1.5", 2), ("2.4999", 2), ("-0.5", 0), ("3", 3)])
def test_halves_are_rounded_up(number: str, whole: int) -> None:
    assert whole == half_up(Fraction(number))


@given(st.integers(1, 20_000), ratios)
def test_height_is_the_quotient_rounded_half_up(width: int, ratio: Fraction) -> None:
    assert half_up(width / ratio) == height_at(width, ratio)


@given(st.integers(1, 20_000), ratios)
def test_widest_and_narrowest_at_a_height(height: int, ratio: Fraction) -> None:
    widest, narrowest = widest_at(height, ratio), narrowest_at(height, ratio)
    assert height_at(widest, ratio) <= height < height_at(widest + 1, ratio)
    assert height_at(narrowest - 1, ratio) < height <= height_at(narrowest, ratio)
