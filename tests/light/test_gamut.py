"""Softening against the direct algorithm of CSS Color 4, that against coloraide; and what both ways do to hue."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.light.gamut import ChromaLimit, chroma_limit
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB, RGBSpace, rgb_to_pcs
from tests.light import colour_science
from tests.light.colour_science import Floats, colour, linear, pcs_matrix
from tests.light.css_color import Space

coloraide = pytest.importorskip("coloraide", reason="judge missing: coloraide")

NAMES = {SRGB: colour_science.SRGB, DISPLAY_P3: colour_science.DISPLAY_P3, ADOBE_RGB: colour_science.ADOBE_RGB}
EACH_SPACE = pytest.mark.parametrize("space", NAMES, ids=lambda space: space.name)


@cache
def limit(space: RGBSpace) -> ChromaLimit:
    return chroma_limit(rgb_to_pcs(space))


def in_light_of(space: RGBSpace, encoded: Floats, source: str) -> Floats:
    """Return linear RGB of `space`, not clipped, of encoded RGB of another space."""
    there = np.linalg.inv(pcs_matrix(NAMES[space])) @ pcs_matrix(source)
    return np.asarray(linear(encoded, source) @ there.T, dtype=np.float64)


def outside(light: Floats) -> Floats:
    return light[((light < -0.001) | (light > 1.001)).any(axis=-1)]


def dense(space: RGBSpace, source: str, steps: int = 9) -> Floats:
    """Return what lies outside `space` of a grid of all colours of a wider one."""
    axis = np.linspace(0, 1, steps)
    grid = np.stack(np.meshgrid(axis, axis, axis, indexing="ij"), -1).reshape(-1, 3)
    return outside(in_light_of(space, grid, source))


def softened(space: RGBSpace, light: Floats) -> Floats:
    return np.clip(limit(space).soften(light.T).T, 0, 1)


WIDER = [
    (SRGB, colour_science.DISPLAY_P3, 0.002),
    (SRGB, colour_science.ADOBE_RGB, 0.002),
    (SRGB, colour_science.ROMM, 0.005),
    (DISPLAY_P3, colour_science.ROMM, 0.005),
    (ADOBE_RGB, colour_science.ROMM, 0.005),
]


@pytest.mark.parametrize(("space", "source", "most"), WIDER, ids=lambda one: getattr(one, "name", str(one)))
def test_the_table_gives_what_the_direct_algorithm_gives(space: RGBSpace, source: str, most: float) -> None:
    light, direct = dense(space, source), Space(NAMES[space])
    differences = np.linalg.norm(direct.oklab(softened(space, light)) - direct.oklab(direct.mapped(light)), axis=-1)
    # 0.02 in OKLab is what is noticed; the most is left near pure blue, whose limit has an edge.
    assert len(light) > 300
    assert differences.mean() < 0.0002
    assert np.quantile(differences, 0.99) < 0.001
    assert differences.max() < most


def test_the_direct_algorithm_is_that_of_coloraide() -> None:
    encoded = np.random.default_rng(3).random((400, 3))
    light = in_light_of(SRGB, encoded, colour_science.DISPLAY_P3)
    fitted = [
        coloraide.Color("display-p3", rgb).convert("srgb-linear").fit("srgb-linear", method="oklch-chroma")[:3]
        for rgb in encoded.tolist()
    ]
    np.testing.assert_allclose(Space(colour_science.SRGB).mapped(light), fitted, rtol=0, atol=2e-4)


@EACH_SPACE
@given(st.lists(st.floats(0, 1), min_size=3, max_size=3))
@example([1.0, 1.0, 1.0])
@example([0.0, 0.0, 0.0])
def test_what_lies_inside_is_left_as_it_is(space: RGBSpace, light: list[float]) -> None:
    inside = np.array([light])
    np.testing.assert_allclose(inside, limit(space).soften(inside.T).T, rtol=0, atol=0)


@EACH_SPACE
@given(st.lists(st.floats(-2, 3), min_size=3, max_size=3))
def test_whatever_comes_is_close_to_the_gamut(space: RGBSpace, light: list[float]) -> None:
    # What is left outside differs from its clipped self by less than is noticed, but for the table's steps.
    found = limit(space).soften(np.array([light]).T).T
    direct = Space(NAMES[space])
    if 0 < direct.oklab(np.array(light))[0] < 1:
        assert np.linalg.norm(direct.oklab(found) - direct.oklab(np.clip(found, 0, 1))) < 0.03


def test_brighter_than_white_is_white_and_darker_than_black_is_black() -> None:
    found = limit(SRGB).soften(np.array([[1.3, 1.1, 1.2], [-0.2, -0.3, -0.1]]).T).T
    assert np.clip(found, 0, 1).round(6).tolist() == [[1, 1, 1], [0, 0, 0]]


def hue_error(space: RGBSpace, light: Floats, found: Floats, *, of_oklch: bool) -> Floats:
    """Return degrees between the hues of two sets of colours, in OKLCh or CIE L C h."""
    if of_oklch:
        one, other = (Space(NAMES[space]).oklab(each) for each in (light, found))
    else:
        one, other = (lab(space, each) for each in (light, found))
    turns = np.arctan2(one[:, 2], one[:, 1]) - np.arctan2(other[:, 2], other[:, 1])
    return np.degrees(np.abs((turns + np.pi) % (2 * np.pi) - np.pi))


def lab(space: RGBSpace, light: Floats) -> Floats:
    white = colour.XYZ_to_xy(colour_science.PCS_WHITE)
    return np.asarray(colour.XYZ_to_Lab(light @ pcs_matrix(NAMES[space]).T, white), dtype=np.float64)


def tomato_reds() -> Floats:
    """Return linear sRGB, outside it, of reds as ripe tomatoes have them: L 25 to 60, a 45 to 75, b 25 to 65.

    Common practice, no source; they lie inside Display P3 and ROMM RGB.
    """
    axes = np.linspace(25, 60, 8), np.linspace(45, 75, 10), np.linspace(25, 65, 9)
    reds = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)
    xyz = colour.Lab_to_XYZ(reds, colour.XYZ_to_xy(colour_science.PCS_WHITE))
    return outside(xyz @ np.linalg.inv(pcs_matrix(colour_science.SRGB)).T)


@pytest.mark.parametrize("of_oklch", [True, False])
def test_tomato_reds_keep_their_hue_better_softened_than_clipped(of_oklch: bool) -> None:  # noqa: FBT001 (a column)
    light = tomato_reds()
    soft, clip = (
        hue_error(SRGB, light, each, of_oklch=of_oklch) for each in (softened(SRGB, light), np.clip(light, 0, 1))
    )
    assert soft.mean() < 0.75 * clip.mean()
    assert np.quantile(soft, 0.95) < 0.75 * np.quantile(clip, 0.95)
    assert soft.max() < 10


def test_and_their_lightness() -> None:
    light = tomato_reds()
    soft, clip = (np.abs((lab(SRGB, light) - lab(SRGB, each))[:, 0]) for each in (
        softened(SRGB, light), np.clip(light, 0, 1)))  # fmt: skip
    assert soft.max() < 3
    assert clip.max() > 6


@pytest.mark.parametrize("source", [colour_science.DISPLAY_P3, colour_science.ADOBE_RGB, colour_science.ROMM])
def test_all_colours_of_a_wider_space_keep_their_hue_better_softened(source: str) -> None:
    light = dense(SRGB, source)
    soft, clip = (hue_error(SRGB, light, each, of_oklch=True) for each in (softened(SRGB, light), np.clip(light, 0, 1)))
    assert soft.mean() < 0.85 * clip.mean()
    assert np.quantile(soft, 0.95) < np.quantile(clip, 0.95)
