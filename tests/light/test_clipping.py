"""Clipping: counts by hand and by numpy, patches and islands against scikit-image."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skimage.measure import label

from pipeline.light.box import WHOLE, Region
from pipeline.light.clipping import (
    CELL_IS_HIT,
    cell_shares,
    islands,
    nearly_empty,
    patches,
    share_within,
    shares_at,
    without_shading,
)

SRGB = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1


def test_shares_by_hand() -> None:
    red = [[255, 255, 0, 1], [254, 255, 255, 0]]
    green = [[255, 0, 0, 0], [255, 255, 0, 0]]
    blue = [[255, 255, 0, 0], [0, 255, 0, 0]]
    codes = np.array([red, green, blue], np.uint8)
    full, empty = shares_at(codes, 255), shares_at(codes, 0)
    assert full.channels == (4 / 8, 3 / 8, 3 / 8)
    assert full.every == 2 / 8
    assert empty.channels == (2 / 8, 5 / 8, 5 / 8)
    assert empty.every == 2 / 8


@given(arrays(np.uint8, st.tuples(st.integers(1, 4), st.integers(1, 30), st.integers(1, 30))), st.integers(0, 255))
def test_shares_are_exact(codes: np.ndarray, code: int) -> None:
    found = shares_at(codes, code)
    assert tuple(float((plane == code).sum()) / plane.size for plane in codes) == found.channels
    assert float((codes == code).all(axis=0).sum()) / codes[0].size == found.every


def test_sixteen_bits_are_full_at_65535_only() -> None:
    codes = np.array([[[65535, 65534, 65280]]], np.uint16)
    assert shares_at(codes, 65535).every == 1 / 3


@pytest.mark.parametrize(
    ("colour", "lost"),
    [
        ((255, 255, 255), True),
        ((250, 250, 250), True),  # a coder's ripple
        ((255, 255, 120), True),  # cream: red and green carry 93 % of the luminance
        ((255, 249, 240), False),
        ((255, 60, 20), False),  # a tomato: red is full, its shading is in green
        ((20, 255, 60), True),
        ((255, 120, 255), False),
    ],
)
def test_shading_is_lost_with_the_channels_that_carry_it(colour: tuple[int, int, int], *, lost: bool) -> None:
    codes = np.array(colour, np.uint8).reshape(3, 1, 1)
    assert lost == bool(without_shading(codes, 255, SRGB)[0, 0])


def test_inks_are_paper_only_where_there_is_none_of_any() -> None:
    turned = 255 - np.array([[0, 0, 0, 0], [0, 0, 30, 0], [0, 0, 0, 255]], np.uint8).T.reshape(4, 1, 3)
    assert without_shading(turned, 255, (0.25,) * 4, 1.0).tolist() == [[True, False, False]]


def test_nearly_empty_needs_all_channels() -> None:
    codes = np.array([[0, 5, 5, 6], [0, 5, 9, 0], [0, 0, 0, 0]], np.uint8).reshape(3, 1, 4)
    assert nearly_empty(codes, 255).tolist() == [[True, True, False, False]]


masks = arrays(np.bool_, st.tuples(st.integers(1, 50), st.integers(1, 50)))


@settings(max_examples=40)
@given(masks)
def test_a_small_mask_is_its_own_map(mask: np.ndarray) -> None:
    np.testing.assert_array_equal(cell_shares(mask), mask)
    assert int(label(mask, connectivity=1).max()) == islands(cell_shares(mask))


def test_cells_of_a_large_mask_add_up() -> None:
    mask = np.random.default_rng(2).random((733, 1211)) < 0.3
    cells = cell_shares(mask)
    assert cells.shape == (74, 122)  # cells of 10 x 10, the last ones reach beyond
    assert mask.sum() == pytest.approx(cells.sum() * 100)
    assert mask[20:30, 50:60].mean() == pytest.approx(cells[2, 5])


def test_a_window_is_a_patch_and_glints_are_not() -> None:
    mask = np.zeros((600, 900), np.bool_)
    mask[:200, :300] = True  # the window: a ninth of the frame
    mask[400:440, 600:700] = True
    mask[500, 100:800:50] = True  # fourteen glints of a pixel
    cells = cell_shares(mask)
    window, cloth = patches(cells, 0.002)
    assert window.share == pytest.approx(1 / 9, rel=0.02)
    assert (window.region.left, window.region.top) == (0.0, 0.0)
    assert (window.region.right, window.region.bottom) == pytest.approx((1 / 3, 1 / 3), abs=0.012)
    assert cloth.share == pytest.approx(40 * 100 / mask.size, rel=0.2)
    assert islands(cells) == 2 + 14


@settings(max_examples=40)
@given(arrays(np.float64, st.tuples(st.integers(1, 25), st.integers(1, 25)), elements=st.floats(0, 1)))
def test_patches_are_scikit_images_components(cells: np.ndarray) -> None:
    labels = label(cells >= CELL_IS_HIT, connectivity=1)
    sums = sorted((cells[labels == one].sum() / cells.size for one in range(1, labels.max() + 1)), reverse=True)
    found = patches(cells, 0.0)
    assert sums == pytest.approx([patch.share for patch in found])
    for patch in found:
        assert 0 <= patch.region.left < patch.region.right <= 1
        assert 0 <= patch.region.top < patch.region.bottom <= 1


@pytest.mark.parametrize(
    ("region", "share"),
    [(WHOLE, 0.25), (Region(0, 0, 0.5, 0.5), 1.0), (Region(0.5, 0.5, 1, 1), 0.0), (Region(0.25, 0, 0.75, 0.5), 0.5)],
)
def test_share_within_a_region(region: Region, share: float) -> None:
    cells = np.zeros((40, 60))
    cells[:20, :30] = 1.0
    assert share == share_within(cells, region)


def test_a_region_smaller_than_a_cell_has_that_cell() -> None:
    assert share_within(np.array([[0.25, 1.0]]), Region(0.6, 0.1, 0.61, 0.11)) == 1.0
