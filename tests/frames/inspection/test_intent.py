"""What view and intent want: common practice of the trade, no source; each rule at, before and behind its threshold."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.header import CameraFacts
from pipeline.frames.inspection import intent
from pipeline.frames.inspection.told import Told
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.pictures import FRAMES, sample

if TYPE_CHECKING:
    from pipeline.frames.inspection.told import View

HOUSE = house_thresholds()


def rules(camera: CameraFacts, told: Told, scene_ev: float | None = None) -> list[tuple[str, str]]:
    return [(one.rule, one.level) for one in intent.look(camera, told, scene_ev, HOUSE)[1]]


@pytest.mark.parametrize(
    ("view", "f_number", "noted"),
    [
        ("overhead", 8.0, False),
        ("overhead", 11.0, False),
        ("overhead", 7.1, True),
        ("overhead", 2.8, True),
        ("three-quarter", 2.8, False),
        ("three-quarter", 11.0, False),
        ("three-quarter", 13.0, True),
        ("straight-on", 16.0, True),
        (None, 2.0, False),
    ],
)
def test_apertures(view: View | None, f_number: float, *, noted: bool) -> None:
    found = rules(CameraFacts(f_number=Fraction(f_number)), Told(view=view))
    assert found == ([("aperture", "note")] if noted else [])


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [
        (Fraction(1, 30), [("slow for action", "fault")]),
        (Fraction(1, 50), [("slow for action", "fault")]),
        (Fraction(1, 60), []),
        (Fraction(1, 64), []),
        (Fraction(1, 250), []),
        (Fraction(1, 500), [("freezes action", "note")]),
        (Fraction(1, 2000), [("freezes action", "note")]),
    ],
)
def test_pours(seconds: Fraction, expected: list[tuple[str, str]]) -> None:
    camera = CameraFacts(exposure_s=seconds)
    assert rules(camera, Told(action=True, tripod=True)) == expected
    assert rules(camera, Told(action=False, tripod=True)) == []


@pytest.mark.parametrize(
    ("seconds", "focal", "focal_35", "expected"),
    [
        (Fraction(1, 3), 50, 50, "tripod"),
        (Fraction(3, 10), 50, 50, "hand-held"),
        (Fraction(2), None, None, "tripod"),
        (Fraction(1, 60), 50, 50, None),
        (Fraction(1, 50), 50, 50, None),
        (Fraction(1, 40), 50, 50, None),  # a third of a stop is let pass
        (Fraction(1, 30), 50, 50, "hand-held"),
        (Fraction(1, 50), 50, 75, "hand-held"),
        (Fraction(1, 30), None, None, None),
    ],
)
def test_hands(seconds: Fraction, focal: int | None, focal_35: int | None, expected: str | None) -> None:
    camera = CameraFacts(exposure_s=seconds, focal_mm=None if focal is None else Fraction(focal), focal_35_mm=focal_35)
    assert rules(camera, Told()) == ([(expected, "note")] if expected else [])
    assert rules(camera, Told(tripod=True)) == []


def test_a_hand_held_frame_is_told_that_it_may_have_stood() -> None:
    camera = CameraFacts(exposure_s=Fraction(1, 10), focal_mm=Fraction(50))
    (finding,) = intent.look(camera, Told(), None, HOUSE)[1]
    assert finding.says == "1/10 s is longer than a hand holds still at this focal length: 1/50 s."
    assert "tripod = true" in finding.advice


@pytest.mark.parametrize(
    ("view", "distance", "noted"),
    [
        ("overhead", "0.8", True),
        ("overhead", "2.5", False),
        ("straight-on", "0.45", True),
        ("straight-on", "1.5", False),
    ],
)
def test_depth_of_field(view: View, distance: str, *, noted: bool) -> None:
    # 2 N c s (s - f) / f^2, nearly: with 50 mm on 36 x 24 it is 58 mm at f/4 and 0.8 m, 12 mm at f/2.8 and 0.45 m.
    f_number = Fraction(4) if view == "overhead" else Fraction(28, 10)
    camera = CameraFacts(
        f_number=f_number, focal_mm=Fraction(50), focal_35_mm=50, distance_m=Fraction(distance), exposure_s=None
    )
    found = [rule for rule, _ in rules(camera, Told(view=view)) if rule == "depth of field"]
    assert found == (["depth of field"] if noted else [])


@pytest.mark.parametrize(
    ("scene_ev", "noted"), [(15.0, True), (14.0, True), (12.0, False), (6.0, False), (None, False)]
)
def test_direct_sun(scene_ev: float | None, *, noted: bool) -> None:
    assert rules(CameraFacts(), Told(), scene_ev) == ([("direct sun", "note")] if noted else [])


@pytest.mark.parametrize("name", FRAMES)
def test_of_the_sample_on_its_tripod_only_the_pour_is_slow(name: str) -> None:
    told = Told(view=FRAMES[name]["view"], action=name == "oil-pour.jpg", tripod=True)
    found = rules(sample(name).header.camera, told)
    assert found == ([("slow for action", "fault")] if name == "oil-pour.jpg" else [])


@pytest.mark.parametrize("view", ["overhead", "three-quarter", "straight-on", None])
def test_without_exif_nothing_is_said(view: View | None) -> None:
    assert intent.look(CameraFacts(), Told(view=view, action=True), None, HOUSE) == ({}, ())


parts = st.integers(1, 2**32 - 1)  # of Exif's RATIONAL
extreme = st.builds(Fraction, parts, parts)


@given(extreme, extreme, extreme, extreme, st.sampled_from(["overhead", "straight-on"]), st.booleans())
def test_any_facts_give_finite_measures(
    seconds: Fraction,
    f_number: Fraction,
    focal: Fraction,
    distance: Fraction,
    view: View,
    action: bool,  # noqa: FBT001 (hypothesis fills it by place)
) -> None:
    camera = CameraFacts(
        exposure_s=seconds, f_number=f_number, iso=100, focal_mm=focal, focal_35_mm=50, distance_m=distance
    )
    measures, findings = intent.look(camera, Told(view=view, action=action), 1.0, HOUSE)
    assert all(math.isfinite(value) for value in measures.values())
    assert all(one.number is not None and math.isfinite(one.number) for one in findings)
    assert all(one.source in ("common practice, no source", "house choice") for one in findings)
