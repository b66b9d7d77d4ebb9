"""Temperature and Duv against colour-science's Ohno 2013, which has the observer's own locus."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.colour_temperature import beside_planckian, planckian, temperature
from tests.light.colour_science import colour

WHITES = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]


def uv_of(light: str) -> np.ndarray:
    return np.asarray(colour.UCS_to_uv(colour.XYZ_to_UCS(colour.xy_to_XYZ(WHITES[light]))))


@pytest.mark.parametrize("light", ["A", "B", "C", "D50", "D55", "D65", "D75", "E", "FL2", "FL7", "FL11"])
def test_lights_of_cie_15(light: str) -> None:
    found = temperature(uv_of(light))
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(uv_of(light))
    assert found is not None
    assert kelvin == pytest.approx(found.kelvin, abs=15)
    assert duv == pytest.approx(found.duv, abs=3e-4)


@given(st.floats(80, 550), st.floats(-0.03, 0.03))
def test_any_light_within_a_mired_or_two(mired: float, duv: float) -> None:
    found = temperature(np.asarray(colour.temperature.CCT_to_uv_Ohno2013([1e6 / mired, duv])))
    assert found is not None
    assert mired == pytest.approx(1e6 / found.kelvin, abs=2.0)
    assert duv == pytest.approx(found.duv, abs=4e-4)


def test_the_locus_is_krysteks() -> None:
    kelvins = np.array([1000.0, 2000.0, 2856.0, 5000.0, 6504.0, 15000.0])
    theirs = np.array([colour.temperature.CCT_to_uv_Krystek1985(kelvin) for kelvin in kelvins])
    np.testing.assert_allclose(planckian(kelvins), theirs, atol=1e-12)


@given(st.floats(80, 500), st.floats(-0.02, 0.02))
def test_beside_the_locus_is_found_again(mired: float, duv: float) -> None:
    found = temperature(beside_planckian(np.array(1e6 / mired), duv))
    assert found is not None
    assert mired == pytest.approx(1e6 / found.kelvin, abs=0.5)
    assert duv == pytest.approx(found.duv, abs=1e-4)


@pytest.mark.parametrize("uv", [(0.1, 0.1), (0.5, 0.3), (0.0, 0.0), (math.nan, 0.3), (math.inf, 0.3), (1e300, 1e300)])
def test_what_is_no_light_has_no_temperature(uv: tuple[float, float]) -> None:
    assert temperature(np.array(uv)) is None
