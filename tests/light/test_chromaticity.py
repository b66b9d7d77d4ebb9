"""u', v' and u, v against colour-science."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.chromaticity import uv_1960, uv_1976, white_uv
from pipeline.light.spaces import D50, D65
from tests.light.colour_science import colour

parts = st.floats(0.001, 10)


@given(parts, parts, parts)
def test_they_are_colour_sciences(x: float, y: float, z: float) -> None:
    xyz = np.array([x, y, z])
    np.testing.assert_allclose(uv_1976(xyz), colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)), atol=1e-12)
    np.testing.assert_allclose(uv_1960(xyz), colour.UCS_to_uv(colour.XYZ_to_UCS(xyz)), atol=1e-12)


def test_published_whites() -> None:
    # CIE 15: u', v' of D65 and D50, four digits.
    assert pytest.approx(white_uv(D65), abs=5e-5) == [0.1978, 0.4683]
    assert pytest.approx(white_uv(D50), abs=5e-5) == [0.2092, 0.4881]


def test_black_has_a_finite_answer() -> None:
    np.testing.assert_array_equal(uv_1976(np.zeros((2, 3))), np.zeros((2, 2)))
