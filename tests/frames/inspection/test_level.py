"""Level: scenes and sample frames turned by known angles (scikit-image turns them), and such as tell nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from skimage.transform import ProjectiveTransform, rotate, warp

from pipeline.frames.inspection.level import look
from pipeline.light.box import Region, Size
from pipeline.light.smooth import by_blocks
from pipeline.light.thresholds import house_thresholds
from pipeline.light.turn import Turn
from tests.frames.inspection.looked import FRAMES, sample_detail
from tests.frames.inspection.subjects import SHIPPED
from tests.light.blurs import linear, photograph
from tests.light.test_level_lines import scene, turned
from tests.light.test_plate_rim import dish

HOUSE = house_thresholds()
KEEP = Region(0.3, 0.3, 0.7, 0.7)


def with_bowl(tilt: float) -> np.ndarray:
    """Return a scene with a dark bowl over the line of the table and bits lying about, all turned together."""
    light = scene(0.0, 2.0, 900, 600)
    down, right = np.mgrid[:600, :900]
    light[(right - 470) ** 2 / 200**2 + (down - 300) ** 2 / 90**2 < 1] = 0.25
    for x, y in np.random.default_rng(8).uniform(0.05, 0.95, (60, 2)) * (900, 600):
        light[(right - x) ** 2 + (down - y) ** 2 < 30] = 0.9
    return turned(light, tilt)


@pytest.mark.parametrize("tilt", [-6.0, -2.2, -1.3, 1.1, 3.0, 8.0])
def test_a_table_s_line_and_the_turn_that_mends_it(tilt: float) -> None:
    measures, (found,), turn = look(with_bowl(tilt), KEEP, "straight-on", HOUSE)
    assert measures["tilt_deg"] == pytest.approx(tilt, abs=0.3)
    assert turn is not None
    assert turn == pytest.approx(-tilt, abs=0.3)
    assert (found.rule, found.level, f"turn_deg = {turn:g}" in found.advice) == ("level", "fault", True)
    assert ("right side is lower" in found.says) == (tilt > 0)


def test_the_turn_is_the_one_that_levels() -> None:
    """A place on the line, turned as frames are turned, comes to lie as high as its middle."""
    _, _, turn = look(with_bowl(4.0), KEEP, "straight-on", HOUSE)
    assert turn is not None
    slope = np.tan(np.radians(4.0))
    levelled = Turn(Size(720, 480), turn)
    across, down = 200.0, 200.0 * slope
    assert across * levelled.sine + down * levelled.cosine == pytest.approx(0.0, abs=200 * np.radians(0.3))


@pytest.mark.parametrize("tilt", [0.0, 0.4, -0.7])
def test_a_little_is_level(tilt: float) -> None:
    measures, findings, turn = look(with_bowl(tilt), KEEP, "three-quarter", HOUSE)
    assert (findings, turn) == ((), None)
    assert measures["tilt_deg"] == pytest.approx(tilt, abs=0.3)


@pytest.mark.parametrize("file", FRAMES)
def test_sample_frames_are_level_and_plumb(file: str) -> None:
    """They were rendered with a camera that stands upright; boards lie turned on the table, bowls are out of round."""
    view, keep = FRAMES[file]
    _, findings, turn = look(sample_detail(file).lightness, keep, view, HOUSE)
    assert (findings, turn) == ((), None)


@pytest.mark.parametrize("name", SHIPPED)
def test_nothing_is_said_of_photographs_without_a_table(name: str) -> None:
    package, keep = SHIPPED[name]
    assert look(np.sqrt(linear(photograph(package, name))), keep, "straight-on", HOUSE)[1:] == ((), None)


@pytest.mark.parametrize("deg", [-5.0, 4.0])
def test_a_bowl_seen_from_low_tells_a_tilt_roughly(deg: float) -> None:
    """Within what it says it is unsure by: the sample's bowl, turned."""
    file = "selects/oil-pour.jpg"
    light, keep = by_blocks(sample_detail(file).lightness, 750), FRAMES[file][1]
    measures, (found,), turn = look(rotate(light, -deg, mode="edge"), keep, "straight-on", HOUSE)
    assert (found.level, turn == -round(measures["tilt_deg"], 1)) == ("note", True)
    assert measures["tilt_deg"] == pytest.approx(deg, abs=measures["tilt_unsure_deg"] + 0.3)


def test_lines_that_disagree_say_nothing() -> None:
    light = scene(0.0, 1.0)
    light[400:] = scene(3.0, 1.0)[100:200]
    assert look(light, None, "straight-on", HOUSE)[1:] == ((), None)


def test_an_overhead_board_whose_sides_converge() -> None:
    light = np.full((600, 900), 0.4)
    light[100:500, 60:840] = 0.8
    away = ProjectiveTransform(np.array([[1, 0, 0], [0, 1, 0], [1.2e-4, 0, 1]], dtype=np.float64))
    tilted = warp(light, away, mode="edge")
    plumb, level_findings, _ = look(light, None, "overhead", HOUSE)
    measures, findings, turn = look(tilted, None, "overhead", HOUSE)
    assert plumb["converging_deg"] == pytest.approx(0.0, abs=0.1)
    assert level_findings == ()
    ends = away.inverse(np.array([[60, 100], [840, 100], [60, 500], [840, 500]], dtype=np.float64))
    slopes = [np.degrees(np.arctan2(*(ends[i + 1] - ends[i])[::-1])) for i in (0, 2)]
    assert measures["converging_deg"] == pytest.approx(abs(slopes[0] - slopes[1]), abs=0.3)
    assert ([one.rule for one in findings], turn) == (["plumb"], None)


@pytest.mark.parametrize(("off_deg", "said"), [(0.0, []), (10.0, []), (28.0, ["plumb"]), (35.0, ["plumb"])])
def test_an_overhead_dish_that_looks_oval(off_deg: float, said: list[str]) -> None:
    """A circle seen at an angle is flattened by the cosine of it."""
    from pipeline.light.plate_rim import Ellipse  # noqa: PLC0415 (one test's)

    flat = float(np.cos(np.radians(off_deg)))
    light = dish(Ellipse(300.0, 200.0, 170.0, 170.0 * flat, 20.0))
    keep = Region(130 / 600, 30 / 400, 470 / 600, 370 / 400)
    measures, findings, _ = look(light, keep, "overhead", HOUSE)
    assert [one.rule for one in findings] == said
    if off_deg > 20:
        assert measures["off_plumb_deg"] == pytest.approx(off_deg, abs=2.5)


@settings(max_examples=25)
@given(
    arrays.arrays(np.float64, (30, 44), elements=st.floats(0, 1), fill=st.sampled_from([0.0, 0.5, 1.0])),
    st.sampled_from(["overhead", "three-quarter", "straight-on", None]),
)
def test_any_picture_gives_finite_measures(light: np.ndarray, view: str | None) -> None:
    measures, _, turn = look(light, KEEP, view, HOUSE)  # type: ignore[arg-type]
    assert np.isfinite([*measures.values(), turn or 0.0]).all()
