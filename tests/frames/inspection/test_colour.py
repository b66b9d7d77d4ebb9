"""The colour of light: the sample's frames without Exif, photographs that packages ship, scenes under lamps."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from pipeline.frames.inspection import colour
from pipeline.light.colour_temperature import Temperature
from pipeline.light.spaces import SRGB
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.pictures import FRAMES, PACKAGED, packaged, sample
from tests.frames.inspection.subjects import COMPOSITES, composite
from tests.light.test_mixed_light import lamp_from
from tests.light.test_white_point import under

if TYPE_CHECKING:
    from pipeline.frames.inspection.values import Finding
    from pipeline.light.smooth import Picture

HOUSE = house_thresholds()
LAMPS = {"2300 K": (0.4929, 0.4155), "2856 K": (0.4476, 0.4074), "3500 K": (0.4053, 0.3907)}
FLUORESCENT = (0.32, 0.375)
SHADE = (0.2637, 0.2673)  # 12000 K
SOUND = [name for name in FRAMES if name != "warm-bulb.jpg"]
# The light comes back from the eye's ground: it is orange, and so the picture is.
ORANGE_BY_NATURE = "retina.jpg"


def look(light: Picture) -> tuple[Finding, ...]:
    return colour.look(light, None, HOUSE)[1]


@pytest.mark.parametrize("name", FRAMES)
def test_of_the_sample_only_the_frame_by_lamplight_has_a_cast(name: str) -> None:
    found = [(one.rule, one.level) for one in look(sample(name).light)]
    assert found == ([("cast", "fault")] if name == "warm-bulb.jpg" else [])


def test_the_lamps_colour_is_named_and_what_to_do() -> None:
    (finding,) = look(sample("warm-bulb.jpg").light)
    assert "orange" in finding.says
    assert "kitchen bulbs" in finding.says
    assert "Switch the lamps off" in finding.advice
    assert "white card" in finding.advice


@pytest.mark.parametrize("name", PACKAGED)
def test_photographs_that_packages_ship_have_no_cast(name: str) -> None:
    found = [(one.rule, one.level) for one in look(packaged(name).light)]
    assert found == ([("cast", "fault")] if name == ORANGE_BY_NATURE else [])


def test_no_composite_has_a_cast_though_some_show_an_orange_thing_on_wood(request: pytest.FixtureRequest) -> None:
    every = 1 if request.config.getoption("--full") else 4  # every fourth lies on wood
    found = {}
    for number in range(0, COMPOSITES, every):
        picture = np.asarray(composite(number).picture, dtype=np.float64) / 255
        if findings := look(SRGB.curve.to_linear(picture)):
            found[number] = findings
    assert found == {}


@pytest.mark.parametrize("name", SOUND)
@pytest.mark.parametrize("lamp", LAMPS)
def test_every_sound_frame_under_a_lamp_has_one(name: str, lamp: str) -> None:
    (finding,) = look(under(sample(name).light[::4, ::4], LAMPS[lamp]))
    assert (finding.rule, finding.level) == ("cast", "fault")
    assert "orange" in finding.says


@pytest.mark.parametrize(("light", "hue"), [(FLUORESCENT, "green"), (SHADE, "blue")])
def test_other_lights_are_named_by_their_hue(light: tuple[float, float], hue: str) -> None:
    (finding,) = look(under(sample("overhead.tif").light[::4, ::4], light))
    assert finding.rule == "cast"
    assert hue in finding.says


@pytest.mark.parametrize("name", ["overhead.tif", "three-quarter.jpg", "portrait-bread.jpg", "ingredients.jpg"])
def test_a_lamp_at_one_side_is_a_note(name: str) -> None:
    (finding,) = look(lamp_from(sample(name).light[::4, ::4], "across"))
    assert (finding.rule, finding.level) == ("mixed light", "note")
    assert "white on the left and orange on the right" in finding.says
    assert "lamps off" in finding.advice


@pytest.mark.parametrize(
    ("degrees", "hue"), [(45, "orange"), (33, "orange"), (140, "green"), (250, "blue"), (320, "pink"), (5, "pink")]
)
def test_hues(degrees: float, hue: str) -> None:
    turn = np.radians(degrees)
    assert hue == colour.hue(float(np.cos(turn)), float(np.sin(turn)))


def test_measures_are_finite_and_have_the_as_shot_light_of_a_raw() -> None:
    for light in (np.zeros((30, 40, 3)), np.ones((30, 40, 3)), np.full((1, 1, 3), 0.4)):
        measures, findings = colour.look(light, None, HOUSE)
        assert np.isfinite(list(measures.values())).all()
        assert findings == ()
        assert "as_shot_kelvin" not in measures
    measures, _ = colour.look(np.full((30, 40, 3), 0.4), Temperature(5200.0, 0.001), HOUSE)
    assert (measures["as_shot_kelvin"], measures["as_shot_duv"]) == (5200.0, 0.001)
