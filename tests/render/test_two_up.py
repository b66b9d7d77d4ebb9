"""Two frames in one picture: each half is the picture it would be alone, the gap is white, a mark goes across both."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pipeline.light.box import Box, Point, Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import DISPLAY_P3
from pipeline.light.two_up import Layout, halves
from pipeline.plan.rendition import Beside, Crop
from pipeline.render.picture import make_picture
from pipeline.render.source import source_of
from pipeline.render.two_up import make_two_up
from tests.render.charts import SCREEN, pixels_of
from tests.small_shoot import header_of

CHANCE = np.random.default_rng(8)
FIRST, SECOND = (CHANCE.integers(20, 236, (240, 360, 3), dtype=np.uint8) for _ in range(2))
HEADER = header_of(Path("b.jpg"), (360, 240))
WIDE: Layout = "side-by-side"
TALL: Layout = "one-above-the-other"


def crop(box: Box) -> Crop:
    return Crop(box, Point(0.5, 0.5), "no", 1.0, 0.0)


@pytest.mark.parametrize(("layout", "whole"), [(WIDE, Size(132, 90)), (TALL, Size(90, 132))])
@pytest.mark.parametrize("shrunk", [1, 2])
def test_each_half_is_the_picture_that_it_would_be_alone(layout: Layout, whole: Size, shrunk: int) -> None:
    size = Size(whole.width // shrunk, whole.height // shrunk)
    half, _ = halves(whole, layout, 12)
    boxes = [Box(10, 20, 3 * half.width, 2 * half.height), Box(4, 2, 2 * half.width, 2 * half.height)]
    sources = [source_of(pixels_of(codes)) for codes in (FIRST, SECOND)]
    beside = Beside("b", "b.jpg", HEADER, crop(boxes[1]), layout, 12, whole)
    settings = replace(SCREEN, mark=None)
    together = make_two_up(sources[0], sources[1], crop(boxes[0]), beside, size, settings).image.numpy()
    assert together.shape == (size.height, size.width, 3)
    left = np.ones((size.height, size.width), dtype=bool)
    for source, box, place in zip(sources, boxes, halves(size, layout, 12 // shrunk), strict=True):
        alone = make_picture(source, box, place.size, settings).image.numpy()
        part = np.s_[place.top : place.bottom, place.left : place.right]
        np.testing.assert_array_equal(together[part], alone)
        left[part] = False
    assert (together[left] == 255).all(), "the gap is white"
    assert left.any()


def test_a_mark_goes_across_both_and_the_gap() -> None:
    size = Size(400, 300)
    grey = source_of(pixels_of(np.full((300, 400, 3), 100, dtype=np.uint8)))
    beside = Beside("b", "b.jpg", HEADER, crop(Box(0, 0, 188, 300)), WIDE, 24, size)
    marked = make_two_up(grey, grey, crop(Box(0, 0, 188, 300)), beside, size, replace(SCREEN, mark="Proof · Bean soup"))
    codes = marked.image.numpy().astype(int)
    assert np.ptp(codes[:, :188]) > 30
    assert np.ptp(codes[:, 212:]) > 30
    assert np.ptp(codes[:, 190:210]) > 30


def test_what_lies_outside_the_gamut_is_the_mean_of_both() -> None:
    size = Size(200, 100)
    half = Box(0, 0, 100, 100)
    green = source_of(pixels_of(np.full((100, 100, 3), (0, 255, 0), dtype=np.uint8), write_matrix_profile(DISPLAY_P3)))
    grey = source_of(pixels_of(np.full((100, 100, 3), 100, dtype=np.uint8)))
    beside = Beside("b", "b.jpg", HEADER, crop(half), WIDE, 0, size)
    picture = make_two_up(green, grey, crop(half), beside, size, replace(SCREEN, mark=None))
    assert picture.outside_gamut == pytest.approx(0.5)
