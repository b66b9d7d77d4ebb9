"""Focus and motion: the sample's faults, photographs blurred in known ways, and sound ones: nothing is said of them."""

from __future__ import annotations

from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image
from scipy.ndimage import gaussian_filter

from pipeline.frames.inspection import focus, motion
from pipeline.frames.inspection.sharpness import look_at
from pipeline.light.box import Region
from pipeline.light.spaces import SRGB
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.looked import FRAMES, of_codes, sample_detail
from tests.frames.inspection.subjects import SHIPPED
from tests.light.blurs import SHAKEN, SHARP, blurred, coded, disk, line, photograph

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.frames.inspection.values import Finding

HOUSE = house_thresholds()
FAULTY = {"selects/missed-focus.jpg": ["focus"], "selects/oil-pour.jpg": ["motion"]}
MIDDLE = Region(0.25, 0.25, 0.75, 0.75)


def rules(findings: tuple[Finding, ...]) -> list[str]:
    return [one.rule for one in findings]


def in_colour(codes: NDArray[np.uint8], kernel: NDArray[np.float64]) -> NDArray[np.uint8]:
    """Return a photograph blurred in linear light."""
    light = SRGB.curve.to_linear(codes / 255.0)
    return coded(np.stack([blurred(light[..., band], kernel) for band in range(3)], axis=-1))


def blended(one: NDArray[np.uint8], other: NDArray[np.uint8], region: Region) -> NDArray[np.uint8]:
    """Return one picture with another in the ellipse in a region."""
    height, width = one.shape[:2]
    down, right = (np.mgrid[:height, :width] + 0.5) / np.array([height, width]).reshape(2, 1, 1)
    across = (2 * right - region.left - region.right) / (region.right - region.left)
    upright = (2 * down - region.top - region.bottom) / (region.bottom - region.top)
    inside = gaussian_filter((across**2 + upright**2 < 1.1).astype(np.float64), 2.0)[..., None]
    return np.asarray(np.rint(one * (1 - inside) + other * inside), dtype=np.uint8)


@pytest.mark.parametrize("file", FRAMES)
def test_the_sample_s_faults_and_no_others(file: str) -> None:
    """By pixels alone: the looks see no Exif. Blown highlights and an orange cast are the business of others."""
    view, keep = FRAMES[file]
    _, findings = look_at(sample_detail(file), keep, view, HOUSE)
    assert rules(findings) == FAULTY.get(file, [])


def otherwise(codes: NDArray[np.uint8], how: str) -> NDArray[np.uint8]:
    """Return a picture as another camera or another program might have left it."""
    picture = Image.fromarray(codes)
    match how:
        case "half":
            return np.asarray(picture.resize((picture.width // 2, picture.height // 2), Image.Resampling.LANCZOS))
        case "larger":
            return np.asarray(picture.resize((picture.width * 5 // 3, picture.height * 5 // 3)))
        case "grainy":
            grain = np.random.default_rng(3).normal(0, 3.5, codes.shape)
            return np.asarray(np.clip(codes + grain, 0, 255), dtype=np.uint8)
        case "coded again":
            held = BytesIO()
            picture.save(held, "JPEG", quality=70)
            return np.asarray(Image.open(held))
        case "dark":
            return np.asarray(codes * 0.55, dtype=np.uint8)
    return codes[:, ::-1]


WAYS = ("half", "larger", "grainy", "coded again", "dark", "mirrored")


@pytest.mark.parametrize("file", FRAMES)
def test_the_same_faults_in_other_copies(file: str, request: pytest.FixtureRequest) -> None:
    """All ways in the full run, else each frame in one of them."""
    view, keep = FRAMES[file]
    planes = sample_detail(file).planes
    codes = (planes >> 8 if planes.dtype == np.uint16 else planes).astype(np.uint8).transpose(1, 2, 0)
    number = list(FRAMES).index(file)
    for how in WAYS if request.config.getoption("--full") else WAYS[number % 6 : number % 6 + 1]:
        there = Region(1 - keep.right, keep.top, 1 - keep.left, keep.bottom) if how == "mirrored" else keep
        _, findings = look_at(of_codes(otherwise(codes, how)), there, view, HOUSE)
        assert (how, rules(findings)) == (how, FAULTY.get(file, []))


def test_where_the_sample_s_spoon_is_smeared() -> None:
    _, (found,) = motion.look(sample_detail("selects/oil-pour.jpg"), FRAMES["selects/oil-pour.jpg"][1], HOUSE)
    assert found.where is not None
    middle = (found.where.left + found.where.right) / 2, (found.where.top + found.where.bottom) / 2
    assert middle == pytest.approx((0.33, 0.54), abs=0.04), "by eye: the spoon lies at 26..39 % across, 45..58 % down"
    assert (found.level, found.number and 25 < found.number < 50) == ("fault", True)


@pytest.mark.parametrize("name", [one for one in SHIPPED if one != SHAKEN[1]])
def test_photographs_that_packages_ship_are_sound(name: str) -> None:
    package, keep = SHIPPED[name]
    _, findings = look_at(of_codes(photograph(package, name)), keep, None, HOUSE)
    assert findings == ()


def test_the_photograph_that_is_shaken_is_named() -> None:
    _, findings = look_at(of_codes(photograph(*SHAKEN)), SHIPPED[SHAKEN[1]][1], None, HOUSE)
    assert rules(findings) == ["shake"]
    assert "from side to side" in findings[0].says


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_shaken_photographs_are_named(name: tuple[str, str]) -> None:
    shaken = of_codes(in_colour(photograph(*name), line(14.0, 120.0)))
    measures, findings = look_at(shaken, SHIPPED[name[1]][1], None, HOUSE)
    assert rules(findings) == ["shake"]
    assert (measures["streak_px"], measures["streak_deg"]) == pytest.approx((14.0, 120.0), rel=0.05)
    assert "rises to the right by 60 degrees" in findings[0].says


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_defocused_photographs_are_soft_not_shaken(name: tuple[str, str]) -> None:
    defocused = of_codes(in_colour(photograph(*name), disk(7.0)))
    _, findings = look_at(defocused, None, None, HOUSE)
    assert rules(findings) == ["soft"]


@pytest.mark.parametrize("name", SHARP[:5], ids=lambda name: name[1])
@pytest.mark.parametrize("radius", [5.0, 9.0])
def test_a_blurred_subject_in_a_sharp_frame_is_missed_focus(name: tuple[str, str], radius: float) -> None:
    codes = photograph(*name)
    keep = SHIPPED[name[1]][1] if name[1] != "rocket.jpg" else MIDDLE
    missed = blended(codes, in_colour(codes, disk(radius)), keep)
    _, findings = look_at(of_codes(missed), keep, None, HOUSE)
    assert rules(findings) == ["focus"]


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
@pytest.mark.parametrize("radius", [3.0])
def test_a_sharp_subject_in_a_blurred_frame_is_sound(name: tuple[str, str], radius: float) -> None:
    codes = photograph(*name)
    keep = SHIPPED[name[1]][1]
    _, findings = look_at(of_codes(blended(in_colour(codes, disk(radius)), codes, keep)), keep, "three-quarter", HOUSE)
    assert rules(findings) == []


@pytest.mark.parametrize("name", [SHARP[0], SHARP[1], SHARP[3]], ids=lambda name: name[1])
def test_a_smeared_subject_in_a_sharp_frame_moved(name: tuple[str, str]) -> None:
    codes = photograph(*name)
    keep = SHIPPED[name[1]][1]
    moved = blended(codes, in_colour(codes, line(16.0, 30.0)), keep)
    _, findings = look_at(of_codes(moved), keep, None, HOUSE)
    assert "motion" in rules(findings)
    assert "shake" not in rules(findings)


def test_from_above_all_should_be_sharp() -> None:
    codes = photograph(*SHARP[0])
    uneven = blended(in_colour(codes, disk(5.0)), codes, MIDDLE)
    _, findings = look_at(of_codes(uneven), MIDDLE, "overhead", HOUSE)
    assert [(one.rule, one.level) for one in findings] == [("even focus", "note")]


def test_thresholds_decide() -> None:
    detail, keep = sample_detail("selects/missed-focus.jpg"), FRAMES["selects/missed-focus.jpg"][1]
    _, findings = focus.look(detail, keep, "straight-on", HOUSE.with_values({"focus_ratio": 6.0}))
    assert findings == ()


def test_without_a_subject_only_all_of_the_frame_is_judged() -> None:
    measures, findings = look_at(sample_detail("selects/missed-focus.jpg"), None, "straight-on", HOUSE)
    assert (findings, "subject_blur_px" in measures) == ((), False)


@pytest.mark.parametrize("shape", [(1, 1), (1, 900), (900, 1), (3, 3), (97, 13)])
@pytest.mark.parametrize("level", [None, 0, 128, 255])
def test_odd_pictures_give_finite_measures(shape: tuple[int, int], level: int | None) -> None:
    chance = np.random.default_rng(9)
    codes = chance.integers(0, 256, (*shape, 3)) if level is None else np.full((*shape, 3), level)
    measures, _ = look_at(of_codes(codes.astype(np.uint8)), MIDDLE, "overhead", HOUSE)
    assert np.isfinite(list(measures.values())).all()


@settings(max_examples=15)
@given(arrays.arrays(np.uint8, (60, 80, 3), fill=st.sampled_from([0, 90, 255])), st.floats(0, 0.5), st.floats(0.5, 1))
def test_any_picture_gives_finite_measures(codes: NDArray[np.uint8], low: float, high: float) -> None:
    keep = Region(low, low, high + 0.01, high + 0.01)
    measures, findings = look_at(of_codes(codes), keep, "overhead", HOUSE)
    assert np.isfinite(list(measures.values())).all()
    assert all(one.number is not None and np.isfinite(one.number) for one in findings)
