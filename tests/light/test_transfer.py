"""Transfer curves against colour-science, which has them from the standards, and against published values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.transfer import ADOBE_CURVE, ROMM_CURVE, SRGB_CURVE, Parametric, Sampled
from tests.light import colour_science

CODES = np.arange(65536) / 65535
PUBLISHED = [
    (SRGB_CURVE, colour_science.SRGB),
    (ADOBE_CURVE, colour_science.ADOBE_RGB),
    (SRGB_CURVE, colour_science.DISPLAY_P3),
    (ROMM_CURVE, colour_science.ROMM),
]

light = st.floats(0, 1)
# What a hostile profile can hold: s15Fixed16 numbers, -32768..32768.
fixed = st.floats(-32768, 32768, width=32)
above_0 = st.floats(1 / 65536, 32768)


def encoded_of(curve: Parametric, value: float) -> float:
    return float(curve.to_encoded(np.array([value]))[0])


@pytest.mark.parametrize(("curve", "name"), PUBLISHED, ids=[name for _, name in PUBLISHED])
def test_every_16_bit_code_is_as_bright_as_colour_science_says(curve: Parametric, name: str) -> None:
    np.testing.assert_allclose(curve.to_linear(CODES), colour_science.linear(CODES, name), rtol=0, atol=1e-7)


@pytest.mark.parametrize(
    ("linear", "code"),
    # Half, a quarter and three quarters of the light of 8-bit white. Source: IEC 61966-2-1, worked out by hand.
    [(0.5, 187.5), (0.25, 136.96), (0.75, 224.6), (0.0, 0.0), (1.0, 255.0)],
)
def test_srgb_codes_of_mixed_light(linear: float, code: float) -> None:
    assert encoded_of(SRGB_CURVE, linear) * 255 == pytest.approx(code, abs=0.05)


@pytest.mark.parametrize(
    ("curve", "knee_linear", "knee_encoded"),
    # Sources: IEC 61966-2-1 (both thresholds as printed); ISO 22028-2 (E_t = 1/512, from memory).
    [(SRGB_CURVE, 0.0031308, 0.04045), (ROMM_CURVE, 1 / 512, 16 / 512)],
)
def test_the_straight_part_ends_where_the_standard_says(
    curve: Parametric, knee_linear: float, knee_encoded: float
) -> None:
    assert encoded_of(curve, knee_linear) == pytest.approx(knee_encoded, abs=2e-7)
    below = np.array([0.5 * knee_encoded, 0.99 * knee_encoded])
    np.testing.assert_allclose(curve.to_linear(below), below * curve.c, rtol=1e-12)


def test_adobe_rgb_is_plain_gamma_of_2_51_256() -> None:
    # Source: Adobe RGB (1998) Color Image Encoding, 4.3.1.2.
    assert (ADOBE_CURVE.gamma, ADOBE_CURVE.c) == (2 + 51 / 256, 0.0)


@given(light, st.sampled_from([SRGB_CURVE, ADOBE_CURVE, ROMM_CURVE]))
def test_encoding_undoes_decoding(value: float, curve: Parametric) -> None:
    back = curve.to_linear(curve.to_encoded(np.array([value])))
    assert value == pytest.approx(float(back[0]), abs=1e-7)


@given(light, light, st.sampled_from([SRGB_CURVE, ADOBE_CURVE, ROMM_CURVE]))
def test_more_light_is_never_a_lower_code(one: float, other: float, curve: Parametric) -> None:
    low, high = curve.to_encoded(np.array(sorted((one, other))))
    assert low <= high


@given(st.floats(-100, 0), st.sampled_from([SRGB_CURVE, ADOBE_CURVE, ROMM_CURVE]))
def test_light_below_nothing_is_black(value: float, curve: Parametric) -> None:
    assert encoded_of(curve, value) == pytest.approx(0, abs=1e-12)


@given(above_0, above_0, fixed, fixed, fixed, fixed, fixed)
def test_no_curve_leaves_the_range_of_light(
    gamma: float, a: float, b: float, c: float, d: float, offset: float, f: float
) -> None:
    # Source: ICC.1:2022 10.18: what lies outside the range of the function is clipped to it.
    linear = Parametric(gamma, a, b, c, d, offset, f).to_linear(np.linspace(0, 1, 33))
    assert np.isfinite(linear).all()
    assert (linear >= 0).all()
    assert (linear <= 1).all()


def test_a_sampled_curve_is_straight_between_its_samples() -> None:
    curve = Sampled((0.0, 0.2, 1.0))
    np.testing.assert_allclose(curve.to_linear(np.array([0, 0.25, 0.5, 0.75, 1])), [0, 0.1, 0.2, 0.6, 1])


def test_a_table_of_the_srgb_curve_is_as_good_as_the_curve() -> None:
    # 1024 samples, as widespread v2 profiles of sRGB have (common practice, no source).
    samples = colour_science.linear(np.linspace(0, 1, 1024), colour_science.SRGB)
    curve = Sampled(tuple(samples.tolist()))
    np.testing.assert_allclose(curve.to_linear(CODES), SRGB_CURVE.to_linear(CODES), rtol=0, atol=1e-6)
