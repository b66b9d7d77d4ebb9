"""Colours outside a target's gamut: which are counted, and what softening does to a picture."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from pipeline.light.cielab import lab_to_xyz, lightness_of
from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_output import TableProfile, read_output_profile
from pipeline.light.spaces import DISPLAY_P3, ROMM, SRGB
from pipeline.render.colour import linear_light, matrix_of, outside_gamut, target_space, working_space
from pipeline.render.gamut import ROUND_TRIP, lost_share, soften
from tests.light import colour_science
from tests.light.css_color import Space
from tests.light.foreign_tables import PRESS, printer_profile
from tests.render.charts import PLAIN, colour_grid, finished, image_of, made
from tests.render.icc_tables import Judge, with_black, without_black

if TYPE_CHECKING:
    from tests.light.colour_science import Floats

SOFT = replace(PLAIN, gamut="soft")
P3_PROFILE, ROMM_PROFILE = write_matrix_profile(DISPLAY_P3), write_matrix_profile(ROMM)


def tables(profile: bytes) -> TableProfile:
    found = read_output_profile(profile, "relative")
    assert isinstance(found, TableProfile)
    return found


def working(lab: Floats) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    return image_of(np.asarray(lab_to_xyz(lab), np.float32)[None])


@pytest.mark.parametrize("profile", [PRESS, printer_profile()], ids=["press", "printer"])
def test_what_a_device_prints_lies_inside(profile: bytes) -> None:
    channels = tables(profile).channels
    device = np.random.default_rng(1).random((20_000, channels))
    if channels == 4:  # as far as a press goes: 280 % ink, and black not where the others say it already
        device *= [1, 1, 1, 0.6]
        device = device[device.sum(axis=1) < 2.8]
    # Black is laid on black as a picture's is; of what the tables give back 1 in 100 is further off than the bound.
    judge = Judge(profile)
    lab = judge.to_lab(device)
    back = np.linalg.norm(judge.to_lab(judge.to_device(lab[:500])) - lab[:500], axis=1)
    assert np.quantile(back, 0.99) < ROUND_TRIP
    inside = lab[lab[:, 0] > 30]
    picture = without_black(inside, lightness_of(tables(profile).black))
    assert lost_share(working(picture), tables(profile)) < 0.03


def test_what_no_press_prints_lies_outside() -> None:
    neon = np.array([[60.0, 90.0, 70.0], [85.0, -80.0, 80.0], [50.0, 20.0, -90.0], [75.0, 60.0, 100.0]])
    assert lost_share(working(neon), tables(PRESS)) == 1.0
    assert outside_gamut(working(neon), tables(PRESS)) == 1.0


@pytest.mark.parametrize("intent", ["relative", "perceptual"])
def test_the_share_does_not_depend_on_the_intent(intent: Any) -> None:  # noqa: ANN401 (a column)
    half = np.repeat([[60.0, 0.0, 0.0], [60.0, 90.0, 70.0]], 50, axis=0)
    space = read_output_profile(PRESS, intent)
    assert outside_gamut(working(half), space) == 0.5


def test_the_share_is_that_of_the_judge() -> None:
    lab = np.random.default_rng(2).random((1500, 3)) * [70, 140, 140] + [25, -70, -70]
    judge, space = Judge(PRESS), tables(PRESS)
    asked = with_black(lab, lightness_of(space.black))
    away = np.linalg.norm(judge.to_lab(judge.to_device(asked)) - asked, axis=1)
    assert lost_share(working(lab), space) == pytest.approx((away > ROUND_TRIP).mean(), abs=0.002)


def test_a_red_gradient_out_of_srgb_is_softened_as_the_judge_does_it() -> None:
    reds = np.stack([np.linspace(90, 255, 200), np.linspace(20, 60, 200), np.linspace(10, 40, 200)], -1)
    codes = reds.round().astype(np.uint8)[None]
    found = finished(codes, P3_PROFILE, SOFT)[0]
    light = colour_science.linear(codes[0] / 255, colour_science.DISPLAY_P3)
    there = light @ (np.linalg.inv(colour_science.pcs_matrix("sRGB")) @ colour_science.pcs_matrix("Display P3")).T
    expected = colour_science.colour.RGB_COLOURSPACES["sRGB"].cctf_encoding(Space("sRGB").mapped(there)) * 255
    assert np.abs(found - expected).max() <= 2


def test_colours_inside_pass_to_the_last_bit() -> None:
    grid = colour_grid(17)[None]
    np.testing.assert_array_equal(finished(grid, settings=PLAIN), finished(grid, settings=SOFT))
    light = image_of(np.random.default_rng(3).random((40, 50, 3)).astype(np.float32))
    np.testing.assert_array_equal(light.numpy(), soften(matrix_of(SRGB).to_pcs)(light).numpy())


def test_the_share_outside_is_that_before_softening() -> None:
    green = np.tile(np.array([0, 255, 0], np.uint8), (8, 8, 1))
    green[:, 4:] = 128
    for settings in (PLAIN, SOFT):
        assert made(green, ROMM_PROFILE, settings).outside_gamut == 0.5


def test_softening_and_clipping_differ_where_colours_lie_outside() -> None:
    green = np.tile(np.array([0, 255, 0], np.uint8), (2, 2, 1))
    soft, clip = (finished(green, ROMM_PROFILE, settings)[0, 0] for settings in (SOFT, PLAIN))
    assert clip.tolist() == [0, 255, 0]
    assert soft.tolist() != [0, 255, 0]


def test_target_space_softens_only_where_it_is_asked_to() -> None:
    source = matrix_of(DISPLAY_P3)
    xyz = working_space(source)(linear_light(source)(image_of(np.array([[[255, 0, 0]]], np.uint8))))
    clip, soft = (target_space(SRGB, gamut)(xyz).numpy()[0, 0] for gamut in ("clip", "soft"))
    assert clip.max() > 1.2
    assert np.linalg.norm(Space("sRGB").oklab(soft) - Space("sRGB").oklab(np.clip(soft, 0, 1))) < 0.021


@pytest.mark.parametrize("colour", ["display-p3", "adobe-rgb"])
def test_other_targets_are_softened_into_their_own_gamut(colour: str) -> None:
    green = np.tile(np.array([0, 255, 0], np.uint8), (2, 2, 1))
    found = [
        finished(green, ROMM_PROFILE, replace(settings, colour=colour))[0, 0].tolist() for settings in (PLAIN, SOFT)
    ]
    assert found[0] == [0, 255, 0]
    assert found[1] != found[0]
