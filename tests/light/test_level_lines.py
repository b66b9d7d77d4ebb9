"""Lines: drawn at known angles, and photographs turned by known angles (scikit-image turns them)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from skimage.transform import rotate

from pipeline.light.level_lines import Line, level_lines
from tests.light.blurs import linear, photograph

# Photographs in which there are long lines, and how much of the width they fill at the least.
WITH_LINES = (("skimage.data", "motorcycle_left.png"), ("skimage.data", "motorcycle_right.png"))


def scene(tilt_deg: float, blur_px: float = 1.0, width: int = 750, height: int = 500) -> np.ndarray:
    """Return a wall over a table, its line turned clockwise about the middle, with grain."""
    down, right = np.mgrid[:height, :width].astype(np.float64)
    slope = np.tan(np.radians(tilt_deg))
    below = down - height * 0.4 - slope * (right - width / 2)
    light = 0.7 - 0.3 / (1 + np.exp(-np.clip(below / blur_px, -50, 50)))
    return np.asarray(np.clip(light + np.random.default_rng(2).normal(0, 0.01, light.shape), 0, 1))


def turned(light: np.ndarray, deg: float) -> np.ndarray:
    """Return the middle of a picture turned clockwise."""
    whole = rotate(light, -deg, order=3, mode="edge")
    height, width = light.shape
    return np.asarray(whole[height // 10 : -height // 10, width // 10 : -width // 10], dtype=np.float64)


def nearest(lines: tuple[Line, ...], deg: float) -> float:
    return min((line.tilt_deg for line in lines), key=lambda tilt: abs(tilt - deg))


@pytest.mark.parametrize("tilt", [-9.0, -2.3, -0.4, 0.0, 0.25, 1.1, 7.7])
@pytest.mark.parametrize("blur", [0.3, 1.5, 4.0])
def test_a_line_that_is_drawn(tilt: float, blur: float) -> None:
    line = level_lines(scene(tilt, blur))[0]
    assert line.tilt_deg == pytest.approx(tilt, abs=0.12)
    assert line.y == pytest.approx(0.4, abs=0.004)
    assert min(line.filled, line.filled_ends) > 0.6


@pytest.mark.parametrize("name", WITH_LINES, ids=lambda name: name[1])
@pytest.mark.parametrize("deg", [-4.0, -1.5, -0.5, 0.7, 2.0, 5.0])
def test_the_difference_between_turned_photographs(name: tuple[str, str], deg: float) -> None:
    """Within 0.3 degrees of the turn, by the fullest line of the photograph as it is."""
    light = np.sqrt(linear(photograph(*name)))
    before = level_lines(turned(light, 0.0))[0].tilt_deg
    after = nearest(level_lines(turned(light, deg)), before + deg)
    assert after - before == pytest.approx(deg, abs=0.3)


@pytest.mark.parametrize("name", ["grass.png", "gravel.png", "coins.png", "moon.png"])
def test_textures_have_no_lines(name: str) -> None:
    assert level_lines(np.sqrt(linear(photograph("skimage.data", name)))) == ()


def test_a_board_does_not_run_to_both_sides() -> None:
    light = np.full((400, 600), 0.6)
    light[200:260, 100:420] = 0.3
    line = level_lines(light)[0]
    assert (line.filled > 0.5, line.filled_ends) == (True, 0.0)


@pytest.mark.parametrize("shape", [(1, 1), (1, 200), (200, 1), (6, 6)])
def test_odd_shapes_have_no_lines(shape: tuple[int, int]) -> None:
    assert level_lines(np.random.default_rng(4).random(shape)) == ()


@given(arrays.arrays(np.float64, (40, 50), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 0.5, 1.0])))
def test_any_picture_gives_finite_numbers(light: np.ndarray) -> None:
    found = [(one.tilt_deg, one.y, one.filled, one.filled_ends) for one in level_lines(light)]
    assert np.isfinite(found).all()
