"""What halving chroma costs: by arithmetic on drawn edges, and beside what a JPEG encoder loses by it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.light.spaces import SRGB
from pipeline.render.chroma import MOST_LOSS, halving_loss, may_be_halved
from pipeline.render.picture import Picture
from tests.render.charts import image_of
from tests.render.reference_scores import TO_YCC, Case

if TYPE_CHECKING:
    from numpy.typing import NDArray


def edge(left: tuple[int, int, int], right: tuple[int, int, int], at: int = 33) -> NDArray[np.uint8]:
    codes = np.tile(np.array(left, np.uint8), (64, 64, 1))
    codes[:, at:] = right
    return codes


def chroma(codes: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray((codes.astype(float) @ TO_YCC.T)[..., 1:], dtype=np.float64)


@pytest.mark.parametrize("grey", [(0, 255), (90, 160)])
def test_grey_has_nothing_to_lose(grey: tuple[int, int]) -> None:
    assert halving_loss(edge((grey[0],) * 3, (grey[1],) * 3)) == pytest.approx(0, abs=0.01)


def test_a_red_edge_on_white_by_hand() -> None:
    """An edge inside a pair of columns: the mean of the two stands for both, and is then led linearly to its sides."""
    red, white = (200, 30, 30), (250, 250, 250)
    step = float(np.linalg.norm(chroma(np.array(red)) - chroma(np.array(white))))
    # One column in 32 lies beside the edge; the 1 % that suffers most is there. Its pair's mean is half-way; a quarter
    # of the way towards the neighbours leaves 3/8 of the step wrong on each side.
    assert halving_loss(edge(red, white)) == pytest.approx(3 / 8 * step, rel=1e-3)
    # Between two pairs the pairs are right, and the quarter taken from the other side is what is wrong.
    assert halving_loss(edge(red, white, at=32)) == pytest.approx(1 / 4 * step, rel=1e-3)


def test_saturated_edges_lose_more() -> None:
    losses = [halving_loss(edge((128 + k, 128 - k, 128 - k), (128, 128, 128))) for k in (5, 20, 60, 120)]
    assert sorted(losses) == losses


@given(st.integers(1, 40), st.integers(1, 40))
def test_any_size_has_a_loss(height: int, width: int) -> None:
    codes = np.random.default_rng(height * 64 + width).integers(0, 256, (height, width, 3), dtype=np.uint8)
    assert 0 <= halving_loss(codes) < 256


@pytest.mark.parametrize("photograph", ["coffee", "chelsea", "astronaut"])
def test_it_is_what_an_encoder_loses(photograph: str) -> None:
    """Pillow's JPEG at full quality, chroma halved, against the same at full chroma."""
    codes = Case(photograph, "blocks", 50, SRGB).original
    files = [io.BytesIO(), io.BytesIO()]
    for file, subsampling in zip(files, ("4:4:4", "4:2:0"), strict=True):
        Image.fromarray(codes).save(file, "jpeg", quality=100, subsampling=subsampling)
    full, halved = (chroma(np.asarray(Image.open(file))) for file in files)
    lost = float(np.quantile(np.linalg.norm(full - halved, axis=-1), 0.99))
    assert halving_loss(codes) == pytest.approx(lost, rel=0.15)


def test_what_may_be_halved() -> None:
    assert may_be_halved(Picture(image_of(edge((120, 110, 100), (130, 120, 110))), SRGB, 0.0))
    assert not may_be_halved(Picture(image_of(edge((200, 30, 30), (250, 250, 250))), SRGB, 0.0))
    assert not may_be_halved(Picture(image_of(edge((9, 9, 9), (9, 9, 9))[..., 0]), SRGB, 0.0))
    assert 0 < MOST_LOSS < 20
