"""Depth of field against handbook arithmetic: worked examples, and the close-up formula 2 N c (1 + m) / m^2."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.depth_of_field import circle_of_confusion_mm, depth_of_field, hyperfocal_mm


def test_hyperfocal_distance_of_35_mm_at_f_8_on_a_small_sensor() -> None:
    assert round(hyperfocal_mm(35, 8, 0.020)) == 7691


@pytest.mark.parametrize(
    ("focal", "f_number", "circle", "distance", "near", "far"),
    [
        (35, 8, 0.020, 600, 558.8, 647.8),
        (35, 8, 0.020, 1000, 888.1, 1144.2),
        (50, 2.8, 0.030, 600, 589.1, 611.3),
    ],
)
def test_worked_examples(
    focal: float, f_number: float, circle: float, distance: float, near: float, far: float
) -> None:
    depth = depth_of_field(focal, f_number, circle, distance)
    assert (round(depth.near, 1), round(depth.far, 1)) == (near, far)


def test_a_macro_lens_agrees_with_the_close_up_formula() -> None:
    magnification = 100 / (500 - 100)
    assert magnification == 0.25
    close_up = 2 * 5.6 * 0.030 * (1 + magnification) / magnification**2
    assert round(close_up, 2) == 6.72
    assert depth_of_field(100, 5.6, 0.030, 500).total == pytest.approx(close_up, rel=0.01)


def test_from_the_hyperfocal_distance_on_it_reaches_to_infinity() -> None:
    assert depth_of_field(35, 8, 0.020, 7692).far == math.inf


def test_a_distance_inside_the_lens() -> None:
    with pytest.raises(ValueError, match="a lens of 100 mm cannot focus at 90 mm"):
        depth_of_field(100, 5.6, 0.030, 90)


def test_circles_of_confusion() -> None:
    # Full frame 0.030, 1.5x 0.020, 1.6x 0.019, four thirds 0.015: from memory.
    assert [round(circle_of_confusion_mm(crop), 3) for crop in (1.0, 1.5, 1.6, 2.0)] == [0.030, 0.020, 0.019, 0.015]


@given(st.floats(10, 600), st.floats(1, 32), st.floats(0.005, 0.05), st.floats(1.01, 1000))
def test_sharpness_surrounds_the_plane_of_focus_and_grows_as_the_lens_is_stopped_down(
    focal: float, f_number: float, circle: float, ratio: float
) -> None:
    distance = focal * ratio
    depth, smaller = (depth_of_field(focal, stop, circle, distance) for stop in (f_number, f_number * 2))
    assert smaller.near <= depth.near <= distance <= depth.far <= smaller.far
