"""Sameness: photographs shifted, brightened, blurred in part, with a thing put in; and pictures of other things."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy.ndimage import gaussian_filter

from pipeline.frames.inspection.sameness import compare, likeness_of
from pipeline.light.spaces import SRGB
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.looked import FRAMES, of_codes, sample_detail
from tests.light.blurs import SHARP, coded, photograph

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.frames.inspection.likeness import Likeness

HOUSE = house_thresholds()
SIDE = 400


def piece(name: tuple[str, str], right: int = 0, down: int = 0) -> NDArray[np.uint8]:
    codes = photograph(*name)
    height, width = min(codes.shape[0] - 40, SIDE), min(codes.shape[1] - 40, SIDE)
    return codes[20 + down : 20 + down + height, 20 + right : 20 + right + width].copy()


def kept(codes: NDArray[np.uint8]) -> Likeness:
    return likeness_of(of_codes(codes))


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_a_small_shift_is_the_same_frame(name: tuple[str, str]) -> None:
    found = compare(kept(piece(name)), kept(piece(name, 8, -6)), HOUSE)
    assert (found.view, found.sharper, found.moved) == (True, 0, None)
    assert found.brighter_ev == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_the_same_codes_are_the_same_in_all(name: tuple[str, str]) -> None:
    found = compare(kept(piece(name)), kept(piece(name)), HOUSE)
    assert (found.same, found.apart_bits, found.words) == (True, 0, ())


@pytest.mark.parametrize("ev", [-0.7, 0.5])
@pytest.mark.parametrize("name", [SHARP[0], SHARP[2], SHARP[6]], ids=lambda name: name[1])
def test_brighter_by_known_exposure_values(name: tuple[str, str], ev: float) -> None:
    one = piece(name)
    other = coded(np.clip(SRGB.curve.to_linear(one / 255.0) * 2**ev, 0, 1))
    found = compare(kept(one), kept(other), HOUSE)
    assert found.brighter_ev == pytest.approx(ev, abs=0.08)
    assert f"{'brighter' if ev > 0 else 'darker'} by {abs(ev):.1f} EV" in found.words


@pytest.mark.parametrize("name", SHARP[:4], ids=lambda name: name[1])
def test_which_is_the_sharper(name: tuple[str, str]) -> None:
    one = piece(name)
    soft = np.rint(gaussian_filter(one.astype(np.float64), (2.0, 2.0, 0.0))).astype(np.uint8)
    assert [compare(kept(a), kept(b), HOUSE).sharper for a, b in ((one, soft), (soft, one))] == [1, 2]
    assert compare(kept(one), kept(soft), HOUSE).words == ("less sharp",)


def test_where_it_is_less_sharp() -> None:
    one = piece(SHARP[0])
    other = one.copy()
    third = SIDE // 3
    soft = gaussian_filter(one.astype(np.float64), (2.5, 2.5, 0.0))
    other[:, 2 * third + 1 :] = np.rint(soft[:, 2 * third + 1 :]).astype(np.uint8)
    words = compare(kept(one), kept(other), HOUSE).words
    assert words == ("less sharp in the upper right, at the right and in the lower right",)


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_where_something_is_otherwise(name: tuple[str, str]) -> None:
    one = piece(name)
    other = one.copy()
    height, width = other.shape[:2]
    top, left = round(0.60 * height), round(0.10 * width)
    bottom, right = round(0.85 * height), round(0.30 * width)
    dark = other[top:bottom, left:right].mean() < 128
    other[top:bottom, left:right] = [240, 236, 60] if dark else [20, 30, 90]
    found = compare(kept(one), kept(other), HOUSE)
    assert found.moved is not None
    box = (found.moved.left, found.moved.top, found.moved.right, found.moved.bottom)
    assert box == pytest.approx((0.10, 0.60, 0.30, 0.85), abs=0.06)
    assert found.words[-1] == "something is otherwise in the lower left"


def test_photographs_of_other_things_are_not_alike() -> None:
    frames = [kept(photograph(*name)[:380, :380]) for name in SHARP if name[1] != "chelsea.png"]
    found = [compare(one, other, HOUSE) for one, other in itertools.combinations(frames, 2)]
    assert [one for one in found if one.same or one.view] == []


def test_the_sample_has_no_two_of_a_kind() -> None:
    frames = [likeness_of(sample_detail(file)) for file in FRAMES]
    found = [compare(one, other, HOUSE) for one, other in itertools.combinations(frames, 2)]
    assert [one for one in found if one.same or one.view] == []


def test_frames_of_other_shapes_are_other_views() -> None:
    one = piece(SHARP[0])
    assert not compare(kept(one), kept(one[:300]), HOUSE).view


@settings(max_examples=15)
@given(*[arrays.arrays(np.uint8, (33, 50, 3), fill=st.sampled_from([0, 90, 255]))] * 2)
def test_any_two_pictures(one: NDArray[np.uint8], other: NDArray[np.uint8]) -> None:
    found = compare(kept(one), kept(other), HOUSE)
    assert np.isfinite([found.likeness, found.brighter_ev]).all()
    assert 0 <= found.apart_bits <= 64


@pytest.mark.parametrize("shape", [(1, 1), (1, 500), (500, 1), (2, 3)])
def test_odd_shapes(shape: tuple[int, int]) -> None:
    codes = np.random.default_rng(2).integers(0, 256, (*shape, 3), dtype=np.uint8)
    assert compare(kept(codes), kept(codes), HOUSE).apart_bits == 0
