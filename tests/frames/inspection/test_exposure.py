"""Exposure: exact counts, where it is burnt out, the sample's frames without Exif, photographs that packages ship."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pipeline.frames.header import CameraFacts
from pipeline.frames.inspection import exposure
from pipeline.frames.inspection.view import planes_of, reduced_light
from pipeline.light.box import Region
from pipeline.light.icc import write_grey_profile, write_matrix_profile
from pipeline.light.spaces import ROMM
from pipeline.light.thresholds import house_thresholds
from pipeline.light.transfer import Parametric
from tests.frames.inspection.pictures import DRAWN, FRAMES, PACKAGED, SILENT, Frame, packaged, pixels_of, sample
from tests.light.foreign_tables import PRESS

if TYPE_CHECKING:
    from typing import Any

    from numpy.typing import NDArray

    from pipeline.frames.inspection.values import Finding

HOUSE = house_thresholds()
MIDDLE = Region(0.4, 0.4, 0.6, 0.6)
GREY = 118  # code of 18 % of light in sRGB


def look(
    codes: NDArray[Any], keep: Region | None = None, camera: CameraFacts = SILENT, icc_profile: bytes | None = None
) -> tuple[dict[str, float], tuple[Finding, ...]]:
    pixels = pixels_of(codes, icc_profile)
    return exposure.look(pixels, reduced_light(pixels), keep, camera, HOUSE)


def look_at(frame: Frame, camera: CameraFacts = SILENT) -> tuple[dict[str, float], tuple[Finding, ...]]:
    return exposure.look(frame.pixels, frame.light, frame.keep, camera, HOUSE)


def grey_with(*places: tuple[slice, slice, int]) -> NDArray[np.uint8]:
    """Return a grey table, 400 x 600, with rectangles of other codes on it."""
    codes = np.full((400, 600, 3), GREY, np.uint8)
    for rows, columns, code in places:
        codes[rows, columns] = code
    return codes


def test_shares_are_exact() -> None:
    codes = np.full((40, 50, 3), 90, np.uint8)
    codes[:7, :11, 0] = 255
    codes[:3, :11, 1:] = 255
    codes[30:, 20:21] = 0
    measures, _ = look(codes)
    assert measures["full_red"] == 77 / 2000
    assert measures["full_green"] == measures["full_blue"] == measures["full_all"] == 33 / 2000
    assert measures["empty_all"] == measures["empty_red"] == 10 / 2000


@settings(max_examples=20)
@given(arrays(np.uint16, st.tuples(st.integers(1, 12), st.integers(1, 12), st.just(3))))
def test_shares_of_sixteen_bits_are_exact(codes: NDArray[np.uint16]) -> None:
    codes[::2] = np.where(codes[::2] > 30000, 65535, codes[::2])
    measures, _ = look(codes, icc_profile=write_matrix_profile(ROMM))
    assert measures["full_green"] == np.count_nonzero(codes[..., 1] == 65535) / codes[..., 1].size
    assert measures["full_all"] == np.count_nonzero((codes == 65535).all(axis=2)) / codes[..., 1].size
    assert measures["empty_blue"] == np.count_nonzero(codes[..., 2] == 0) / codes[..., 2].size


def test_a_blown_window_is_told_from_a_blown_subject() -> None:
    _, (window,) = look(grey_with((np.s_[:120], np.s_[:150], 255)), MIDDLE)
    assert (window.rule, window.level) == ("burnt out", "fault")
    assert window.number == pytest.approx(120 * 150 / 240000, abs=0.004)
    assert window.says == (
        "7.5 % of the frame is burnt out to white, the largest patch in the upper left, at the frame's edge."
    )
    assert window.where is not None
    assert (window.where.left, window.where.top) == (0.0, 0.0)
    assert "white cloth over the window" in window.advice
    _, (subject,) = look(grey_with((np.s_[180:220], np.s_[280:320], 255)), MIDDLE)
    assert (subject.rule, subject.level, subject.unit) == ("burnt out", "fault", "of the keep box")
    assert subject.number == pytest.approx(40 * 40 / (80 * 120), abs=0.02)
    assert subject.where == MIDDLE
    assert "on the subject it is 17 %" in subject.says


def test_a_small_patch_is_a_note_and_glints_are_nothing() -> None:
    _, (note,) = look(grey_with((np.s_[300:350], np.s_[500:540], 255)), MIDDLE)
    assert (note.rule, note.level) == ("burnt out", "note")
    glints = [(np.s_[y : y + 2], np.s_[x : x + 2], 255) for y in range(10, 400, 40) for x in range(10, 600, 40)]
    measures, findings = look(grey_with(*glints), MIDDLE)
    assert findings == ()
    assert measures["glint_count"] == len(glints) == 150
    assert measures["glints"] == pytest.approx(150 * 4 / 240000)
    assert measures["burnt_out"] == 0


def test_a_red_that_is_full_keeps_its_shading() -> None:
    codes = grey_with()
    codes[100:300, 100:500, 0] = 255
    codes[100:300, 100:500, 1:] = 40
    measures, (finding,) = look(codes, MIDDLE)
    assert measures["full_red"] == measures["full_colour"] == 1 / 3
    assert (finding.rule, finding.level) == ("full colour", "note")


def test_black_without_shading() -> None:
    _, (finding,) = look(grey_with((np.s_[200:], np.s_[300:], 0)), MIDDLE)
    assert (finding.rule, finding.level) == ("drowned", "note")
    assert finding.number == pytest.approx(0.25, abs=0.01)
    assert "in the lower right" in finding.says


@pytest.mark.parametrize(("code", "side"), [(225, "above"), (30, "below")])
def test_very_bright_and_very_dark_frames(code: int, side: str) -> None:
    _, (finding,) = look(np.full((60, 80, 3), code, np.uint8))
    assert (finding.rule, finding.level) == ("brightness", "note")
    assert side in finding.says
    assert "Exif" not in finding.says


def test_by_its_exif_a_dark_frame_had_little_light_or_got_little() -> None:
    camera = CameraFacts(f_number=Fraction(8), exposure_s=Fraction(1, 125), iso=100)
    measures, (finding,) = look(np.full((60, 80, 3), 30, np.uint8), camera=camera)
    # EV 12.97 at f/8 and 1/125 s [Ray]; code 30 is 1.3 % of light, 3.8 stops below mid grey (IEC 61966-2-1).
    assert measures["scene_ev"] == pytest.approx(12.97 - 3.8, abs=0.05)
    assert "light of EV 9.2 at ISO 100" in finding.says


def test_what_shutter_time_would_be_right() -> None:
    camera = CameraFacts(exposure_s=Fraction(1, 15))
    _, (fault,) = look(np.full((60, 80, 3), 255, np.uint8), camera=camera)
    assert "Give about 2.5 stops less light, 1/80 s instead of 1/15 s." in fault.advice


def test_paper_is_white_in_ink_and_black_ink_is_black() -> None:
    codes = np.full((200, 300, 4), 60, np.uint8)
    codes[:100, :100] = 0
    measures, findings = look(codes, icc_profile=PRESS)
    assert measures["full_all"] == 1 / 6
    assert [one.rule for one in findings if one.level == "fault"] == ["burnt out"]


def test_grey_frames_have_one_channel() -> None:
    grey = write_grey_profile("grey", Parametric(2.2))
    measures, _ = look(np.full((20, 30, 1), 255, np.uint8), icc_profile=grey)
    assert measures["full_grey"] == measures["full_all"] == 1.0


def test_planes_at_hand_give_the_same() -> None:
    frame = sample("overexposed.jpg")
    planes = planes_of(frame.pixels)
    with_planes = exposure.look(frame.pixels, frame.light, frame.keep, SILENT, HOUSE, planes)
    assert with_planes == look_at(frame)


@pytest.mark.parametrize("name", FRAMES)
@pytest.mark.parametrize("bare", [True, False], ids=["no Exif", "with Exif"])
def test_of_the_sample_only_the_overexposed_frame_is(name: str, *, bare: bool) -> None:
    frame = sample(name)
    measures, findings = look_at(frame, SILENT if bare else frame.header.camera)
    faults = [one.rule for one in findings if one.level == "fault"]
    assert faults == (["burnt out"] if name == "overexposed.jpg" else [])
    assert findings == () or name == "overexposed.jpg"
    assert ("scene_ev" in measures) != bare


def test_the_overexposed_frame_is_burnt_out_at_the_window_and_on_the_subject() -> None:
    measures, (finding,) = look_at(sample("overexposed.jpg"))
    assert measures["burnt_out"] == pytest.approx(0.17, abs=0.01)
    assert measures["burnt_out_subject"] > 0.05
    assert "in the lower left, at the frame's edge" in finding.says


@pytest.mark.parametrize("name", PACKAGED)
def test_no_photograph_is_called_overexposed(name: str) -> None:
    _, findings = look_at(packaged(name))
    assert [one.rule for one in findings if one.level == "fault"] == (["burnt out"] if name in DRAWN else [])


@settings(max_examples=40)
@given(st.data())
def test_any_codes_give_finite_measures(data: st.DataObject) -> None:
    bands = data.draw(st.sampled_from([1, 3, 4]))
    kind = data.draw(st.sampled_from([np.uint8, np.uint16])) if bands != 4 else np.uint8
    codes = data.draw(arrays(kind, st.tuples(st.integers(1, 40), st.integers(1, 40), st.just(bands))))
    profiles = {1: write_grey_profile("grey", Parametric(2.2)), 3: None, 4: PRESS}
    keep = data.draw(st.sampled_from([None, MIDDLE, Region(0.0, 0.0, 1e-6, 1e-6), Region(0.999, 0.999, 1.0, 1.0)]))
    seconds = data.draw(st.fractions(Fraction(1, 10**9), 10**9))
    camera = replace(SILENT, exposure_s=seconds, f_number=Fraction(1, 10**6), iso=1)
    measures, findings = look(codes, keep, camera, profiles[bands])
    assert np.isfinite(list(measures.values())).all()
    assert all(one.number is not None and np.isfinite(one.number) for one in findings)
