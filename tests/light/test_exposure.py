"""Exposure values against worked examples (Ray 2000, ISO 2720: formula; values computed apart from this code)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.exposure import (
    exposure_value,
    exposure_value_at_iso_100,
    longest_hand_held_s,
    stops_from_mid_grey,
)


@pytest.mark.parametrize(
    ("f_number", "exposure_s", "iso", "ev", "ev100"),
    [
        (1.0, 1.0, 100, 0.0, 0.0),
        (16.0, 1 / 125, 100, 14.97, 14.97),
        (8.0, 1 / 125, 100, 12.97, 12.97),
        (2.8, 1 / 100, 100, 9.61, 9.61),
        (5.6, 1 / 60, 400, 10.88, 8.88),
        (2.8, 1 / 60, 800, 8.88, 5.88),
        (16.0, 1 / 100, 100, 14.64, 14.64),  # sunny 16
    ],
)
def test_worked_examples(f_number: float, exposure_s: float, iso: float, ev: float, ev100: float) -> None:
    assert round(exposure_value(f_number, exposure_s), 2) == ev
    assert round(exposure_value_at_iso_100(f_number, exposure_s, iso), 2) == ev100


@pytest.mark.parametrize(
    ("focal_mm", "crop_factor", "denominator"),
    [(50.0, 1.0, 50.0), (50.0, 1.5, 75.0), (35.0, 1.5, 52.5)],
)
def test_the_hand_held_rule(focal_mm: float, crop_factor: float, denominator: float) -> None:
    # Common practice, no source.
    assert longest_hand_held_s(focal_mm, crop_factor) == pytest.approx(1 / denominator)


@given(st.floats(0.7, 64), st.floats(1e-5, 3600), st.floats(25, 409600))
def test_a_stop_is_a_stop(f_number: float, exposure_s: float, iso: float) -> None:
    here = exposure_value_at_iso_100(f_number, exposure_s, iso)
    assert exposure_value_at_iso_100(f_number, exposure_s / 2, iso) == pytest.approx(here + 1)
    assert exposure_value_at_iso_100(f_number * 2**0.5, exposure_s, iso) == pytest.approx(here + 1)
    assert exposure_value_at_iso_100(f_number, exposure_s, iso * 2) == pytest.approx(here - 1)


@pytest.mark.parametrize(("luminance", "stops"), [(0.18, 0.0), (0.36, 1.0), (0.045, -2.0), (1.0, 2.47)])
def test_stops_from_mid_grey(luminance: float, stops: float) -> None:
    assert round(stops_from_mid_grey(luminance), 2) == stops


def test_black_is_finitely_dark() -> None:
    assert -20 < stops_from_mid_grey(0.0) < -15
