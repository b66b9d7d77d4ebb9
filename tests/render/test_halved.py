"""Previews made of half a frame show what those made of the whole frame show, at the same place."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.box import Box, Size
from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.spaces import SRGB
from pipeline.render import compiled
from pipeline.render.halved import WEIGHTS, box_in_half, is_small_enough
from pipeline.render.picture import make_pictures, spec_of
from pipeline.render.source import Source
from tests.render.charts import PLAIN, image_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Pixels = NDArray[Any]

AT = (0, 0.08, 0.133, 0.43, 0.5)
BOXES = [Box(0, 0, 640, 480), Box(101, 77, 441, 331), Box(0, 1, 320, 401), Box(637, 0, 3, 480)]


def source(codes: Pixels) -> Source:
    profile = read_matrix_profile(write_matrix_profile(SRGB))
    assert profile
    return Source.of(image_of(codes), profile)


def previews(codes: Pixels, box: Box, size: Size) -> list[Pixels]:
    frame = source(codes)
    specs = [spec_of(frame, box, size, PLAIN, 0.0, preview=preview) for preview in (True, False)]
    return [picture.image.numpy().astype(int) for picture in make_pictures(frame, specs)]


@pytest.mark.parametrize("box", BOXES, ids=lambda box: f"{box.left},{box.top}")
def test_nothing_is_shifted(box: Box) -> None:
    """A round hill of light is where it is when made of the whole frame; a shift by half a pixel would be 12 levels."""
    y, x = np.mgrid[:480, :640]
    hill = 255 * np.exp(-(((x - 320) / 150) ** 2) - ((y - 240) / 150) ** 2)
    codes = np.repeat(np.round(hill).astype(np.uint8)[..., None], 3, axis=2)
    of_half, of_whole = previews(codes, box, Size(max(box.width // 5, 1), max(box.height // 5, 1)))
    inner = np.s_[1:-1, 1:-1] if min(of_half.shape[:2]) > 2 else np.s_[:, :]
    assert np.abs(of_half - of_whole)[inner].max() <= 2


def test_a_constant_stays_and_a_grid_becomes_its_mean_light() -> None:
    """Black and white lines of 1 px are 188 in sRGB. Source: IEC 61966-2-1, half the light, encoded."""
    flat = np.full((480, 640, 3), 77, np.uint8)
    assert (previews(flat, Box(0, 0, 640, 480), Size(100, 75))[0] == 77).all()
    grid = flat * 0
    grid[:, ::2] = 255
    inner = np.s_[:, 4:-4]  # at the rim the last line is repeated, and is all there is
    assert np.abs(previews(grid, Box(0, 0, 640, 480), Size(100, 75))[0][inner] - 188).max() <= 1


@given(width=st.integers(1, 70), height=st.integers(1, 40), data=st.data())
def test_half_a_frame_is_the_weighed_sum_of_six_by_six(width: int, height: int, data: st.DataObject) -> None:
    """Any part of it, whether sides are odd or not; beyond the rims the last pixel goes on."""
    codes = np.random.default_rng(width).integers(0, 256, (height, width, 3), np.uint8)
    half = Size(-(-width // 2), -(-height // 2))
    left, top = data.draw(st.integers(0, half.width - 1)), data.draw(st.integers(0, half.height - 1))
    part = Size(data.draw(st.integers(1, half.width - left)), data.draw(st.integers(1, half.height - top)))
    frame = source(codes)
    wanted = compiled.Wanted("light", Box(left, top, part.width, part.height), part, frame.profile, None, of_half=True)
    found = compiled.sweep(compiled.Frame(frame.codes, frame.profile), [wanted])[0].picture
    light = SRGB.curve.to_linear(codes / 255)
    for axis, side in ((0, half.height), (1, half.width)):
        at = np.clip(2 * np.arange(side)[:, None] + np.arange(-2, 4), 0, codes.shape[axis] - 1)
        light = np.tensordot(np.take(light, at, axis=axis), WEIGHTS, axes=(axis + 1, 0))
    expected = np.clip(light, 0, 1)[top : top + part.height, left : left + part.width]
    np.testing.assert_allclose(found, expected, rtol=0, atol=3e-5)


def test_a_box_has_the_half_pixels_that_lie_in_it_in_part() -> None:
    assert box_in_half(Box(1, 2, 4, 5)) == Box(0, 1, 3, 3)


def test_only_what_is_small_enough_is_made_of_half() -> None:
    assert is_small_enough(Box(0, 0, 300, 300), Size(100, 100))
    assert not is_small_enough(Box(0, 0, 300, 300), Size(100, 101))


def test_the_weights_leave_broad_lines_and_none_of_the_finest() -> None:
    """The response of a symmetric filter: 2 x the sum of weights times cosines, at cycles a pixel."""
    response = [2 * sum(w * np.cos(np.pi * f * at) for w, at in zip(WEIGHTS[3:], (1, 3, 5), strict=True)) for f in AT]
    np.testing.assert_allclose(response, [1, 0.993, 0.952, 0.025, 0], rtol=0, atol=0.001)
