"""Cutting and reducing: exact sizes, the laws of a linear filter, published values of mixed light."""

from __future__ import annotations

import numpy as np
import pytest
import pyvips
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.light.box import Box, Size
from pipeline.render.resize import cut, reduce
from tests.render.charts import Array, finished, image_of


def noise(size: Size) -> Array:
    """Return repeatable linear light (h, w, 3), 0..1, each pixel by itself."""
    return np.random.default_rng(12233).random((size.height, size.width, 3))


@st.composite
def reductions(draw: st.DrawFn, longest: int = 60_000) -> tuple[Size, Size]:
    """Draw a size and a size that is not larger."""
    width, height = (draw(st.integers(1, longest)) for _ in range(2))
    return Size(width, height), Size(draw(st.integers(1, width)), draw(st.integers(1, height)))


def reduced(array: Array, size: Size, brightest: float | None = 1.0) -> Array:
    found: Array = reduce(size, brightest)(image_of(array.astype(np.float32))).numpy()
    return found


def lanczos(source: int, target: int) -> Array:
    """Return the weights (target, source) of a three-lobed Lanczos kernel, edges repeated, in double precision."""
    factor = source / target
    weights = np.zeros((target, source))
    for row, middle in enumerate((np.arange(target) + 0.5) * factor - 0.5):
        at = np.arange(int(np.floor(middle - 3 * factor)), int(np.ceil(middle + 3 * factor)) + 1)
        x = (at - middle) / factor
        kernel = np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0)
        np.add.at(weights[row], np.clip(at, 0, source - 1), kernel / kernel.sum())
    return weights


@given(reductions())
@example((Size(60_000, 60_000), Size(1, 1)))
@example((Size(60_000, 1), Size(59_999, 1)))
@example((Size(60_000, 60_000), Size(59_999, 2)))
@example((Size(9_999, 6_666), Size(1_600, 1_067)))
@example((Size(1, 1), Size(1, 1)))
def test_the_size_is_exactly_the_planned_one(sizes: tuple[Size, Size]) -> None:
    source, target = sizes
    # Sizes are known before a pixel is worked out.
    found = reduce(target, 1.0)(pyvips.Image.black(source.width, source.height, bands=3).cast("float"))
    assert (target.width, target.height) == (found.width, found.height)


@given(reductions(longest=300), st.floats(0, 1, width=32))
def test_a_constant_picture_stays_constant(sizes: tuple[Size, Size], value: float) -> None:
    source, target = sizes
    found = reduced(np.full((source.height, source.width, 3), value), target)
    np.testing.assert_allclose(found, value, rtol=0, atol=1e-6)


@given(reductions(longest=120))
@example((Size(1, 65), Size(1, 64)))
def test_a_mirrored_picture_comes_out_mirrored(sizes: tuple[Size, Size]) -> None:
    source, target = sizes
    y, x = np.mgrid[0 : source.height, 0 : source.width]
    waves = np.stack([np.sin(x / 2 + y / 7), np.sin(x / 9 - y / 2), np.sin(x / 3 + y / 3)], axis=-1)
    # Places are rounded to 1/64 of a source pixel, and always to one side.
    assert_mirrored(0.5 + 0.5 * waves, target, 0.5 * 0.5 / 64 * 2)


@pytest.mark.parametrize("factor", [2, 3, 4, 8])
def test_whole_factors_mirror_exactly(factor: int) -> None:
    assert_mirrored(noise(Size(24 * factor, 16 * factor)), Size(24, 16), 1e-6)


def assert_mirrored(picture: Array, target: Size, tolerance: float) -> None:
    found = reduced(picture, target)
    for turned in (np.s_[:, ::-1], np.s_[::-1]):
        np.testing.assert_allclose(reduced(picture[turned], target)[turned], found, rtol=0, atol=tolerance)


@pytest.mark.parametrize(
    ("source", "target"),
    [
        (Size(70, 50), Size(33, 21)),
        (Size(400, 300), Size(101, 77)),
        (Size(128, 128), Size(64, 64)),
        (Size(500, 400), Size(499, 201)),
    ],
)
def test_it_is_the_lanczos_filter_in_double_precision(source: Size, target: Size) -> None:
    picture = noise(source)
    down, across = lanczos(source.height, target.height), lanczos(source.width, target.width)
    expected = np.clip(np.einsum("yj,jkc,xk->yxc", down, picture, across, optimize=True), 0, 1)
    # Places are rounded to 1/64 of a source pixel: on white noise, the worst there is, 1.2 % of full light.
    assert np.abs(reduced(picture, target) - expected).max() <= 0.012


@pytest.mark.parametrize("target", [Size(800, 600), Size(533, 400), Size(401, 301), Size(200, 150)])
def test_the_light_of_a_picture_is_kept(target: Size) -> None:
    y, x = np.mgrid[0:1200, 0:1600] / 1200
    waves = 0.5 + 0.4 * np.sin(9 * x) * np.cos(7 * y)
    stripes = (x * 10 % 1 > 0.5) * 0.7 + 0.1
    plate = ((x - 0.6) ** 2 + (y - 0.5) ** 2 < 0.16) * 0.8 + 0.02  # rings at its rim are cut off at black
    picture = np.stack([waves, stripes, plate], axis=-1)
    kept = reduced(picture, target).mean(axis=(0, 1), dtype=np.float64) / picture.mean(axis=(0, 1))
    np.testing.assert_allclose(kept, 1, rtol=0, atol=0.001)


@pytest.mark.parametrize(
    ("tile", "level"),
    # Source: IEC 61966-2-1, the mean of linear light encoded, worked out by hand: 187.5, 136.96, 224.6, 146.4.
    # Averaging code values instead gives 128, 64, 191 and 128.
    [
        ([[0, 255], [255, 0]], 188),
        ([[255, 0], [0, 0]], 137),
        ([[255, 255], [255, 0]], 225),
        ([[64, 192], [192, 64]], 146),
    ],
)
@pytest.mark.parametrize("side", [100, 66, 50])
def test_fine_detail_becomes_the_mean_of_its_light(tile: list[list[int]], level: int, side: int) -> None:
    picture = np.tile(np.array(tile, np.uint8)[..., None], (100, 100, 3))
    middle = finished(picture, size=Size(side, side))[6:-6, 6:-6]
    assert set(np.unique(middle)) == {level}


def test_detail_too_fine_for_the_new_size_leaves_no_rings() -> None:
    # A zone plate: rings that are finer the further out. Beyond half a cycle of the new pixel there may only be grey.
    y, x = np.mgrid[0:600, 0:600] - 299.5
    picture = 0.5 + 0.5 * np.cos(np.pi * (x**2 + y**2) / 600)
    found = reduced(np.repeat(picture[..., None], 3, 2), Size(150, 150))[..., 0]
    fineness = np.abs(np.mgrid[0:150, 0:150] - 74.5).max(axis=0) * 4 * 4 / 600  # cycles of a new pixel, on one axis
    left = np.abs(found - 0.5)[3:-3, 3:-3]
    fineness = fineness[3:-3, 3:-3]
    assert left[fineness < 0.3].max() > 0.49
    # No kernel of finite length is a wall: 4 % of the amplitude at 0.7 cycles, 1.2 % from 0.8 on.
    assert left[fineness > 0.7].max() < 0.02
    assert left[fineness > 0.8].max() < 0.006


def test_a_picture_of_the_planned_size_is_left_alone() -> None:
    picture = noise(Size(40, 30)).astype(np.float32)
    np.testing.assert_array_equal(picture, reduced(picture, Size(40, 30)))


def test_ringing_stays_between_black_and_what_the_encoding_can_hold() -> None:
    edge = np.zeros((8, 200, 3))
    edge[:, 100:] = 1
    free, held = reduced(edge, Size(70, 8), None), reduced(edge, Size(70, 8), 1.0)
    assert free.max() > 1.01
    assert (held.min(), held.max()) == (0, 1)
    assert free.min() == 0


@given(st.data())
def test_cutting_takes_exactly_the_box(data: st.DataObject) -> None:
    picture = np.arange(20 * 30 * 3, dtype=np.uint16).reshape(20, 30, 3)
    left, top = data.draw(st.integers(0, 29)), data.draw(st.integers(0, 19))
    box = Box(left, top, data.draw(st.integers(1, 30 - left)), data.draw(st.integers(1, 20 - top)))
    np.testing.assert_array_equal(
        picture[box.top : box.bottom, box.left : box.right], cut(box)(image_of(picture)).numpy()
    )
