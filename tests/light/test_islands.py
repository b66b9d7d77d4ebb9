"""Connected parts against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from pipeline.light.islands import heaviest, labelled


@pytest.mark.parametrize("seed", range(12))
def test_parts_are_scipys(seed: int) -> None:
    mask = np.random.default_rng(seed).random((25, 33)) < 0.2 + 0.05 * seed
    ours, (theirs, count) = labelled(mask), ndimage.label(mask)
    pairs = set(zip(ours.ravel().tolist(), theirs.ravel().tolist(), strict=True))
    assert len(pairs) == count + 1, "each of our numbers stands for one of theirs"
    assert ((ours == 0) == ~mask).all()


def test_a_snake_is_one_part() -> None:
    mask = np.zeros((9, 9), dtype=bool)
    mask[::2] = True
    mask[1::4, -1] = mask[3::4, 0] = True
    assert len(set(labelled(mask)[mask].tolist())) == 1


def test_the_heaviest_is_not_the_largest() -> None:
    mask = np.array([[True, True, True, False, True]])
    weight = np.array([[1.0, 1.0, 1.0, 9.0, 4.0]])
    assert heaviest(mask, weight).tolist() == [[False, False, False, False, True]]


def test_nothing_is_nothing() -> None:
    assert not heaviest(np.zeros((4, 4), dtype=bool), np.ones((4, 4))).any()
