"""The compiled sweep against the steps, written out in numpy, that it stands for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.light.box import Box, Size
from pipeline.light.icc import read_matrix_profile, write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, ROMM, SRGB
from pipeline.render import compiled
from pipeline.render.colour import matrix_of, outside_gamut
from pipeline.render.kernel import SHARP, SOFT, Kernel, Places, band, windows
from pipeline.render.picture import (
    AFTER_WORKING_SPACE,
    STEPS,
    TO_WORKING_SPACE,
    Spec,
    make_picture,
    make_pictures,
    run_steps,
    spec_of,
)
from pipeline.render.source import Source
from tests.render.charts import PLAIN, image_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from pipeline.light.icc import MatrixProfile
    from pipeline.plan.rendition import PixelSettings

SCREEN = replace(PLAIN, sharpen_amount=1.0, halo_limit=0.08)
PAPER = replace(PLAIN, sharpen_amount=1.3, halo_limit=0.2, sharpen_radius_px=3.0)
FRAME = Box(3, 5, 590, 401)


def test_it_is_built_here() -> None:
    """Without it nothing below would be tested, and every export would take ten times as long."""
    assert compiled.IS_BUILT
    assert compiled.picturework.EDITION == compiled.EDITION


def frame_codes(kind: type[np.uint8 | np.uint16] = np.uint8) -> NDArray[Any]:
    """Return coloured squares under noise, with glints, blown squares and thin black lines: what every step minds."""
    random = np.random.default_rng(7)
    squares = np.kron(random.random((52, 75, 3)), np.ones((8, 8, 1)))
    squares[100:140, 200:260] = 1.0
    codes = np.clip(squares + random.normal(0, 0.04, squares.shape), 0, 1)
    codes[::37, ::41] = 1.0
    codes[::53] = 0.0
    top = np.iinfo(kind).max
    return np.asarray(np.round(codes * top), dtype=kind)


def profile_of(space: Any) -> MatrixProfile:  # noqa: ANN401 (an RGBSpace)
    found = read_matrix_profile(write_matrix_profile(space))
    assert found
    return found


def source(codes: NDArray[Any], profile: MatrixProfile) -> Source:
    return Source.of(image_of(codes), profile)


def by_steps(frame: Source, spec: Spec) -> tuple[NDArray[np.uint8], float]:
    working = run_steps(frame.image, spec, TO_WORKING_SPACE).copy_memory()
    return run_steps(working, spec, STEPS[AFTER_WORKING_SPACE:]).numpy(), outside_gamut(working, spec.space)


@pytest.mark.parametrize("settings", [PLAIN, SCREEN, PAPER], ids=["plain", "screen", "paper"])
@pytest.mark.parametrize(
    ("box", "size"),
    [
        (FRAME, Size(443, 301)),
        (FRAME, Size(97, 66)),
        (FRAME, Size(23, 399)),
        (FRAME, FRAME.size),
        (Box(0, 0, 8, 7), Size(5, 5)),
        (Box(0, 0, 40, 30), Size(3, 2)),
        (Box(10, 0, 1, 300), Size(1, 77)),
    ],
    ids=lambda value: f"{value.width}x{value.height}",
)
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_sweep_gives_what_the_steps_give(
    settings: PixelSettings, box: Box, size: Size, kind: type[np.uint8 | np.uint16]
) -> None:
    """All that float32 arithmetic in another order may change is the rounding of a code that lay between two."""
    frame = source(frame_codes(kind), profile_of(ADOBE_RGB))
    spec = spec_of(frame, box, size, settings, 0.0)
    expected, outside = by_steps(frame, spec)
    found = make_picture(frame, box, size, settings)
    difference = np.abs(found.image.numpy().astype(int) - expected)
    assert difference.max() <= 1
    assert (difference > 0).mean() < 0.001
    assert found.outside_gamut == pytest.approx(outside, abs=1.5 / size.pixels + 1e-5)


@given(st.data(), st.sampled_from([np.uint8, np.uint16]), st.floats(0.5, 9))
def test_any_box_of_any_frame_gives_what_the_steps_give(
    data: st.DataObject, kind: type[np.uint8 | np.uint16], radius_px: float
) -> None:
    """Several at once, from a single pixel on, some dark and some blown, sharpened as far as paper asks for."""
    whole = Size(data.draw(st.integers(1, 90)), data.draw(st.integers(1, 70)))
    light = np.random.default_rng(whole.width).random((whole.height, whole.width, 3)) ** data.draw(st.floats(0.3, 3))
    light[data.draw(st.integers(0, whole.height - 1))] = data.draw(st.sampled_from([0.0, 1.0]))
    frame = source(np.round(light * np.iinfo(kind).max).astype(kind), profile_of(ADOBE_RGB))
    specs = []
    for settings in (PLAIN, SCREEN, replace(PAPER, sharpen_radius_px=radius_px)):
        width, height = data.draw(st.integers(1, whole.width)), data.draw(st.integers(1, whole.height))
        left = data.draw(st.integers(0, whole.width - width))
        top = data.draw(st.integers(0, whole.height - height))
        size = Size(data.draw(st.integers(1, width)), data.draw(st.integers(1, height)))
        specs.append(spec_of(frame, Box(left, top, width, height), size, settings, 0.0))
    for spec, picture in zip(specs, make_pictures(frame, specs), strict=True):
        assert np.abs(picture.image.numpy().astype(int) - by_steps(frame, spec)[0]).max() <= 1


@pytest.mark.parametrize("settings", [PLAIN, SCREEN, PAPER], ids=["plain", "screen", "paper"])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_frame_that_is_swept_in_strips_gives_what_the_steps_give(
    settings: PixelSettings, kind: type[np.uint8 | np.uint16]
) -> None:
    """Some of the pictures reach over several strips, others lie in one; none shows where a strip ends."""
    codes = np.tile(frame_codes(kind)[96:136], (1, 9, 1))
    frame = source(np.roll(codes, 31, axis=1), profile_of(ADOBE_RGB))
    boxes = [Box(0, 0, 5400, 40), Box(611, 3, 4003, 30), Box(1203, 0, 2900, 37), Box(2000, 5, 160, 20)]
    sizes = [Size(3888, 29), Size(3500, 26), Size(2900, 37), Size(90, 11)]
    specs = [spec_of(frame, box, size, settings, 0.0) for box, size in zip(boxes, sizes, strict=True)]
    for spec, found in zip(specs, make_pictures(frame, specs), strict=True):
        expected, outside = by_steps(frame, spec)
        difference = np.abs(found.image.numpy().astype(int) - expected)
        assert difference.max() <= 1
        assert (difference > 0).mean() < 0.001
        assert found.outside_gamut == pytest.approx(outside, abs=1.5 / spec.size.pixels + 1e-5)


@pytest.mark.parametrize("half", [False, True], ids=["whole", "half"])
def test_strips_that_hold_nothing_of_any_picture_are_passed_over(*, half: bool) -> None:
    frame = source(np.tile(frame_codes()[:40], (1, 13, 1)), profile_of(SRGB))
    boxes, size = (Box(0, 0, 300, 40), Box(7400, 0, 300, 40)), Size(90, 12) if half else Size(280, 37)
    specs = [spec_of(frame, box, size, SCREEN, 0.0, preview=half) for box in boxes]
    together = make_pictures(frame, specs)
    for spec, found in zip(specs, together, strict=True):
        [alone] = make_pictures(frame, [spec])
        np.testing.assert_array_equal(found.image.numpy(), alone.image.numpy())


@pytest.mark.parametrize("way", ["make", "make_eight", "make_plain"])
def test_every_processor_gives_the_light_of_the_steps(monkeypatch: pytest.MonkeyPatch, way: str) -> None:
    monkeypatch.setattr(compiled.picturework, "make", getattr(compiled.picturework, way))
    frame = source(frame_codes(), profile_of(ROMM))
    spec = spec_of(frame, FRAME, Size(200, 136), SCREEN, 0.0)
    expected = run_steps(frame.image, spec, TO_WORKING_SPACE[:-1]).numpy()
    wanted = compiled.Wanted("light", FRAME, Size(200, 136), profile_of(SRGB), None)
    found = compiled.sweep(compiled.Frame(frame.codes, frame.profile), [wanted])[0].picture
    np.testing.assert_allclose(found, expected, rtol=0, atol=2e-6)


@given(st.data(), st.sampled_from([np.uint8, np.uint16]))
def test_sixteen_numbers_at_once_give_the_same_as_eight(data: st.DataObject, kind: type[np.uint8 | np.uint16]) -> None:
    """To the last bit, all that is told of a picture too: an export may go to machines of both kinds."""
    frame = source(frame_codes(kind), profile_of(ADOBE_RGB))
    specs = []
    for settings in (PLAIN, SCREEN, PAPER):
        width, height = data.draw(st.integers(1, FRAME.width)), data.draw(st.integers(1, FRAME.height))
        box = Box(FRAME.width - width, FRAME.height - height, width, height)
        size = Size(data.draw(st.integers(1, width)), data.draw(st.integers(1, height)))
        specs.append(spec_of(frame, box, size, settings, 0.0))
    found = make_pictures(frame, specs)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(compiled.picturework, "make", compiled.picturework.make_eight)
        expected = make_pictures(frame, specs)
    for one, other in zip(found, expected, strict=True):
        np.testing.assert_array_equal(one.image.numpy(), other.image.numpy())
        assert (one.average, one.outside_gamut) == (other.average, other.outside_gamut)


def test_pictures_of_one_sweep_are_those_made_alone() -> None:
    frame = source(frame_codes(), profile_of(ADOBE_RGB))
    asked = [
        (FRAME, Size(443, 301), SCREEN),
        (Box(100, 0, 300, 400), Size(30, 40), PAPER),
        (Box(0, 200, 600, 216), Size(600, 216), PLAIN),
        (Box(580, 0, 20, 416), Size(10, 208), SCREEN),
    ]
    together = make_pictures(frame, [spec_of(frame, *one, 0.0) for one in asked])
    for picture, one in zip(together, asked, strict=True):
        alone = make_picture(frame, *one)
        np.testing.assert_array_equal(picture.image.numpy(), alone.image.numpy())
        assert (picture.average, picture.outside_gamut) == (alone.average, alone.outside_gamut)


def test_grey_is_read_as_three_like_channels() -> None:
    codes = frame_codes()[..., :1]
    grey, alike = source(codes, profile_of(SRGB)), source(np.repeat(codes, 3, axis=2), profile_of(SRGB))
    first, second = (make_picture(one, FRAME, Size(97, 66), SCREEN).image.numpy() for one in (grey, alike))
    np.testing.assert_array_equal(first, second)


def test_the_mean_light_is_that_of_the_picture() -> None:
    """Rounding to codes hides at most half a code in each pixel, and far less in the mean of many."""
    frame = compiled.Frame(frame_codes(), profile_of(SRGB))
    made = compiled.sweep(frame, [compiled.Wanted("codes", FRAME, Size(97, 66), matrix_of(SRGB), None)])[0]
    expected = SRGB.curve.to_linear(made.picture / 255).mean(axis=(0, 1))
    np.testing.assert_allclose(made.light, expected, rtol=0, atol=2e-4)


def test_pictures_that_are_alike_are_made_once() -> None:
    """Another encoding of the same pixels, and a preview of the same box, take no work."""
    frame = source(frame_codes(), profile_of(ADOBE_RGB))
    other = replace(SCREEN, quality=(("webp", 71),))
    specs = [spec_of(frame, FRAME, Size(97, 66), one, 0.0) for one in (SCREEN, other, PAPER, SCREEN)]
    first, second, third, fourth = make_pictures(frame, specs)
    assert first is second is fourth
    assert (third.image.numpy() != first.image.numpy()).any()


@pytest.mark.parametrize(
    ("box", "size"),
    [
        (Box(0, 0, 601, 416), Size(60, 41)),
        (Box(-1, 0, 100, 100), Size(60, 41)),
        (Box(0, 0, 100, 100), Size(0, 41)),
    ],
    ids=["too wide", "before the frame", "no columns"],
)
def test_what_lies_outside_the_frame_is_refused(box: Box, size: Size) -> None:
    frame = compiled.Frame(frame_codes(), profile_of(SRGB))
    with pytest.raises((ValueError, ZeroDivisionError)):
        compiled.sweep(frame, [compiled.Wanted("codes", box, size, matrix_of(SRGB), None)])


@given(st.integers(1, 300), st.integers(1, 300), st.sampled_from([SHARP, SOFT]))
def test_windows_are_the_weights_of_bands(side: int, count: int, kernel: Kernel) -> None:
    """Each place by itself, all inside the picture, in order, and the same weight for every source pixel."""
    places = Places.over(side, min(count, side))
    first, weights = windows(kernel, places, side)
    whole = band(kernel, places, side)
    found = np.zeros((places.count, side), np.float64)
    for row, (start, taps) in enumerate(zip(first, weights, strict=True)):
        assert 0 <= start <= side - len(taps)
        found[row, start : start + len(taps)] = taps
    assert (np.diff(first) >= 0).all()
    np.testing.assert_allclose(found[:, whole.start : whole.stop], whole.weights, rtol=0, atol=3e-7)
    np.testing.assert_allclose(found.sum(axis=1), 1, rtol=0, atol=1e-6)
