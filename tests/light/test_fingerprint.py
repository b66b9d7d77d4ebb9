"""The perceptual hash against a library's; averages over parts against plain loops."""

from __future__ import annotations

import imagehash
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from PIL import Image

from pipeline.light.fingerprint import bits_apart, fingerprint, grid_of_means, hash_of_grid
from tests.light.blurs import SHARP, photograph


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_the_hash_is_the_library_s(name: tuple[str, str]) -> None:
    grey = Image.fromarray(photograph(*name)).convert("L")
    small = np.asarray(grey.resize((32, 32), Image.Resampling.LANCZOS), dtype=np.float64)
    assert hash_of_grid(small) == str(imagehash.phash(grey))


@pytest.mark.parametrize("name", SHARP, ids=lambda name: name[1])
def test_our_reduction_hardly_matters(name: tuple[str, str]) -> None:
    grey = Image.fromarray(photograph(*name)).convert("L")
    assert bits_apart(fingerprint(np.asarray(grey, dtype=np.float64)), str(imagehash.phash(grey))) <= 4


@given(arrays.arrays(np.uint8, (32, 32)))
def test_the_hash_of_any_grid_is_the_library_s(grid: np.ndarray) -> None:
    """But for values that lie on the median but for rounding: there a bit may fall either way."""
    ours, theirs = hash_of_grid(grid.astype(np.float64)), str(imagehash.phash(Image.fromarray(grid)))
    assert bits_apart(ours, theirs) <= (2 if np.ptp(grid) else 64)


def test_bits_are_counted() -> None:
    one, other = "00000000000000ff", "8000000000000000"
    expected = imagehash.hex_to_hash(one) - imagehash.hex_to_hash(other)
    assert bits_apart(one, other) == expected


@given(st.integers(1, 70), st.integers(1, 70))
def test_grids_of_any_size_have_the_picture_s_mean(height: int, width: int) -> None:
    values = np.random.default_rng(height * 71 + width).random((height, width))
    grid = grid_of_means(values, 3, 4)
    assert grid.shape == (3, 4)
    assert (values.min() <= grid).all()
    assert (grid <= values.max()).all()
    if height % 3 == 0 and width % 4 == 0:
        assert grid.mean() == pytest.approx(values.mean())
    assert len(fingerprint(values)) == 16
