"""White points of chart greys as colour-science renders them, and what is no cast: warm dishes, wood, foliage."""

from __future__ import annotations

import warnings
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image

from pipeline.light.chromaticity import white_uv
from pipeline.light.spaces import D65, SRGB, adaptation, rgb_to_xyz, white_xyz
from pipeline.light.white_point import white_point
from tests.light.colour_science import colour

if TYPE_CHECKING:
    from pipeline.light.smooth import Picture

OBSERVER = "CIE 1931 2 Degree Standard Observer"
WHITES = colour.CCS_ILLUMINANTS[OBSERVER]
# 24 patches, measured: BabelColor, averages of 30 charts; the last six are the greys.
CHART = list(colour.SDS_COLOURCHECKERS["BabelColor Average"].values())
GREYS = slice(18, 24)
SURE = 0.5


@cache
def rendered(light: str) -> Picture:
    """Return the chart's patches under a light in sRGB of 8 bits, without adaptation, as linear light, 24 x 3."""
    observer, illuminant = colour.MSDS_CMFS[OBSERVER], colour.SDS_ILLUMINANTS[light]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it brings the tables to one step
        xyz = np.array([colour.sd_to_XYZ(patch, observer, illuminant) / 100 for patch in CHART])
    rgb = np.clip(xyz @ colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB.T, 0, 1)
    codes = np.round(colour.models.eotf_inverse_sRGB(rgb) * 255)
    return np.asarray(colour.models.eotf_sRGB(codes / 255), dtype=np.float64)


def picture(patches: Picture) -> Picture:
    """Return patches as a picture, six in a row."""
    return np.asarray(np.kron(patches.reshape(-1, 6, 3), np.ones((40, 40, 1))), dtype=np.float64)


def shift_of(light: str) -> Picture:
    return np.asarray(white_uv(tuple(WHITES[light])) - white_uv(D65))


def angle_between(one: Picture, other: Picture) -> float:
    return float(np.degrees(np.arccos(one @ other / np.hypot(*one) / np.hypot(*other))))


@pytest.mark.parametrize("light", ["A", "D50", "D55", "FL2"])
@pytest.mark.parametrize("part", [GREYS, slice(None)], ids=["greys", "whole chart"])
def test_a_charts_greys_show_the_direction_of_the_light(light: str, part: slice) -> None:
    found, right = white_point(picture(rendered(light)[part])), shift_of(light)
    assert angle_between(np.array([found.u, found.v]), right) < 5
    assert np.hypot(*right) == pytest.approx(found.distance, rel=0.06)


@pytest.mark.parametrize("light", ["A", "D50", "D55", "FL2"])
def test_greys_alone_are_sure(light: str) -> None:
    assert white_point(picture(rendered(light)[GREYS])).confidence > SURE


@pytest.mark.parametrize("part", [GREYS, slice(None)], ids=["greys", "whole chart"])
def test_a_chart_in_the_pictures_own_white_has_no_cast(part: slice) -> None:
    found = white_point(picture(rendered("D65")[part]))
    assert found.distance < 0.003
    assert found.confidence > SURE


def photograph(package: str, name: str) -> Picture:
    with (files(package) / name).open("rb") as stream:
        return SRGB.curve.to_linear(np.asarray(Image.open(stream).convert("RGB"), dtype=np.float64) / 255)


def under(light: Picture, white: tuple[float, float]) -> Picture:
    """Return a picture as another light would have given it without balance, held to what sRGB can show."""
    to_xyz = rgb_to_xyz(SRGB)
    matrix = np.linalg.inv(to_xyz) @ adaptation(white_xyz(D65), white_xyz(white)) @ to_xyz
    return np.clip(light @ matrix.T, 0.0, 1.0)


@pytest.mark.parametrize("name", ["coffee.png", "chelsea.png", "astronaut.png", "motorcycle_left.png", "rocket.jpg"])
def test_warm_things_in_white_light_are_no_cast(name: str) -> None:
    found = white_point(photograph("skimage.data", name))
    assert found.confidence < SURE or found.distance < 0.01


def test_a_yellow_flower_among_leaves_is_no_cast() -> None:
    assert white_point(photograph("sklearn.datasets.images", "flower.jpg")).confidence < 0.1


@pytest.mark.parametrize("name", ["astronaut.png", "motorcycle_left.png", "chelsea.png", "coffee.png"])
@pytest.mark.parametrize("light", ["A", "F"])
def test_photographs_under_a_lamp_are_orange(name: str, light: str) -> None:
    white = (0.4053, 0.3907) if light == "F" else tuple(WHITES["A"])  # 3500 K on the Planckian locus, and 2856 K
    found = white_point(under(photograph("skimage.data", name), white))
    assert found.confidence > SURE
    assert found.distance > 0.05
    assert 25 < found.degrees < 60


def test_a_wooden_table_that_fills_the_frame_is_no_lamp() -> None:
    fibre = np.random.default_rng(4).uniform(0.6, 1.4, (1, 160, 1))
    wood = np.array([0.23, 0.117, 0.054]) * fibre * np.ones((240, 1, 1))
    assert white_point(wood).confidence < SURE
    white_cloth = np.array([1.0, 0.51, 0.235]) * np.random.default_rng(5).uniform(0.5, 0.9, (240, 160, 1))
    assert white_point(white_cloth).confidence > SURE


def test_black_and_burnt_out_pictures_say_nothing() -> None:
    assert white_point(np.zeros((20, 30, 3))).confidence == 0.0
    assert white_point(np.ones((20, 30, 3))).confidence == 0.0


anything = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(max_examples=30)
@given(arrays(np.float64, st.tuples(st.integers(1, 9), st.integers(1, 9), st.just(3)), elements=anything))
def test_any_numbers_give_a_finite_answer(values: Picture) -> None:
    found = white_point(values)
    assert np.isfinite([found.u, found.v, found.confidence, found.distance, found.degrees]).all()
    assert 0 <= found.confidence <= 1
