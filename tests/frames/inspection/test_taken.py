"""Camera facts to reckon with: depth of field against the thin lens, shutter times as cameras mark them."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.header import CameraFacts
from pipeline.frames.inspection.taken import marked, shutter, taken

FACTS = CameraFacts(
    exposure_s=Fraction(1, 125),
    f_number=Fraction(28, 10),
    iso=400,
    focal_mm=Fraction(50),
    focal_35_mm=75,
    distance_m=Fraction(6, 10),
)


def test_depth_of_field_from_the_thin_lens() -> None:
    facts = taken(FACTS)
    assert facts.crop == 1.5
    assert facts.depth is not None
    # The image of a point at distance d is a circle of diameter (f / N) f |s - d| / (d (s - f)) in the plane that is
    # sharp for s; at both ends it is the circle of confusion, 0.030 mm / 1.5.
    for end in (facts.depth.near, facts.depth.far):
        circle = 50 / 2.8 * 50 * abs(600 - end) / (end * (600 - 50))
        assert circle == pytest.approx(0.020, rel=1e-6)


def test_what_is_not_said_is_not_reckoned_with() -> None:
    nothing = taken(CameraFacts())
    assert (nothing.ev_100, nothing.hand_held_s, nothing.depth) == (None, None, None)
    lens_alone = taken(CameraFacts(focal_mm=Fraction(50)))
    assert (lens_alone.crop, lens_alone.hand_held_s) == (None, 1 / 50)
    assert taken(CameraFacts(focal_mm=Fraction(50), focal_35_mm=75)).hand_held_s == pytest.approx(1 / 75)
    too_near = CameraFacts(f_number=Fraction(2), focal_mm=Fraction(50), focal_35_mm=50, distance_m=Fraction(5, 100))
    assert taken(too_near).depth is None
    assert taken(CameraFacts(focal_mm=Fraction(50), focal_35_mm=5000)).crop is None


@pytest.mark.parametrize(
    ("seconds", "words"), [(1 / 60, "1/60 s"), (1 / 3.2, "0.31 s"), (0.25, "1/4 s"), (1.3, "1.3 s"), (30.0, "30 s")]
)
def test_shutter_times_in_words(seconds: float, words: str) -> None:
    assert words == shutter(seconds)


@pytest.mark.parametrize(("seconds", "time"), [(0.0236, 1 / 40), (0.7, 0.8), (1e-9, 1 / 8000), (1e9, 30)])
def test_the_nearest_marked_time(seconds: float, time: float) -> None:
    assert time == marked(seconds)


@given(st.floats(1 / 8000, 30))
def test_marked_times_are_a_third_of_a_stop_apart(seconds: float) -> None:
    assert abs(math.log2(marked(seconds) / seconds)) < 0.23


parts = st.integers(1, 2**32 - 1)  # of Exif's RATIONAL
extreme = st.builds(Fraction, parts, parts)


@given(extreme, extreme, st.integers(1, 2**32), extreme, st.integers(0, 2**32), extreme)
def test_any_facts_give_finite_numbers(
    seconds: Fraction, f_number: Fraction, iso: int, focal: Fraction, focal_35: int, distance: Fraction
) -> None:
    camera = CameraFacts(
        exposure_s=seconds, f_number=f_number, iso=iso, focal_mm=focal, focal_35_mm=focal_35, distance_m=distance
    )
    facts = taken(camera)
    assert facts.ev_100 is None or math.isfinite(facts.ev_100)
    assert facts.hand_held_s is None or math.isfinite(facts.hand_held_s)
    if facts.depth:
        assert math.isfinite(facts.depth.near)
        assert not math.isnan(facts.depth.far)
    assert shutter(float(seconds)).endswith(" s")
