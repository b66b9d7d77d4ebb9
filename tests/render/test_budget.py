"""The quality that is found, against trying every one."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvips
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, JpegImagePlugin

from pipeline.light.icc_output import GREY, TableProfile
from pipeline.light.spaces import SRGB
from pipeline.render import budget
from pipeline.render.budget import LEAST_QUALITY, MOST_QUALITY, TYPICAL, BudgetTooSmall, encoded, lowest_rising
from pipeline.render.containers.embed import picture_data
from pipeline.render.counted import STEP, counted_bytes
from pipeline.render.encode import encode
from pipeline.render.fidelity import score
from pipeline.render.picture import Picture
from tests.render.charts import PLAIN, image_of, made
from tests.render.reference_scores import Case
from tests.render.test_encode import LOSSY

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from pipeline.plan.rendition import OutputFormat, PixelSettings

# What a whole file has beside the picture: in AVIF a box that readers pass over, else bytes behind the picture's end.
WORDS = (708).to_bytes(4, "big") + b"free" + b"w" * 700
QUALITIES = range(LEAST_QUALITY, MOST_QUALITY + 1)


def finished(data: bytes) -> bytes:
    """Return a whole file: the words stand where every decoder leaves them alone."""
    return data + WORDS


def picture(photograph: str = "coffee") -> Picture:
    """Return a picture with red edges; "calm" is one without."""
    codes = Case("coffee" if photograph == "calm" else photograph, "blocks", 50, SRGB).original[:240, :320]
    if photograph == "calm":
        codes = np.round(codes.mean(axis=-1, keepdims=True) * 0.8 + codes * 0.2).astype(np.uint8)
    return Picture(image_of(codes), SRGB, 0.0)


def plain(quality: int = 80, **limits: float | None) -> PixelSettings:
    return replace(PLAIN, quality=tuple((name, quality) for name in LOSSY), **limits)  # type: ignore[arg-type]


def decoded(data: bytes) -> NDArray[np.uint8]:
    with Image.open(io.BytesIO(data)) as opened:
        return np.asarray(opened.convert("RGB"))


def fidelity_of(data: bytes, made_from: Picture) -> float:
    """Return the fidelity of a file as Pillow decodes it."""
    return score(made_from.image.numpy(), decoded(data), SRGB)


@cache
def size_at(output_format: OutputFormat, quality: int) -> int:
    return len(finished(encode(picture(), output_format, quality)))


@pytest.mark.parametrize("output_format", LOSSY)
def test_without_limits_the_quality_given_is_used(output_format: OutputFormat) -> None:
    found = encoded(picture(), output_format, plain(71), finished)
    assert (found.quality, found.fidelity) == (71, None)
    assert found.data == finished(encode(picture(), output_format, 71))


@pytest.mark.parametrize("output_format", ["png", "tiff"])
def test_lossless_files_have_no_quality(output_format: OutputFormat) -> None:
    found = encoded(picture(), output_format, plain(fidelity=90.0), finished)
    assert (found.quality, found.fidelity) == (None, None)
    np.testing.assert_array_equal(picture().image.numpy(), decoded(found.data))


@pytest.mark.parametrize("output_format", LOSSY)
@pytest.mark.parametrize("share", [0.15, 0.4, 0.8])
def test_the_best_within_a_limit_is_found(output_format: OutputFormat, share: float) -> None:
    """Among all qualities, none that fits is higher (where sizes rise with quality: else one that fits is taken)."""
    least, most = (size_at(output_format, quality) for quality in (LEAST_QUALITY, MOST_QUALITY))
    limit = round(least + share * (most - least))
    found = encoded(picture(), output_format, plain(bytes_max=limit), finished)
    assert len(found.data) <= limit
    assert found.quality is not None
    assert found.quality < MOST_QUALITY
    better = finished(encode(picture(), output_format, found.quality + 1))
    assert counted_bytes(better, output_format) > limit
    assert found.fidelity == pytest.approx(fidelity_of(found.data, picture()), abs=0.5)  # another decoder's rounding


@pytest.mark.parametrize("output_format", LOSSY)
@pytest.mark.parametrize("floor", [60.0, 78.0, 86.0])
def test_the_smallest_above_a_floor_is_found(output_format: OutputFormat, floor: float) -> None:
    found = encoded(picture(), output_format, plain(fidelity=floor), finished)
    assert found.fidelity is not None
    assert found.quality is not None
    assert found.fidelity >= floor
    below = budget.measure(picture(), encode(picture(), output_format, found.quality - 1))
    assert below is not None
    assert below < floor or len(encode(picture(), output_format, found.quality - 1)) >= len(found.data) - len(WORDS)


@pytest.mark.parametrize("output_format", LOSSY)
def test_a_floor_within_its_limit_leaves_room(output_format: OutputFormat) -> None:
    alone = encoded(picture(), output_format, plain(fidelity=75.0), finished)
    both = encoded(picture(), output_format, plain(fidelity=75.0, bytes_max=3 * len(alone.data)), finished)
    assert alone == both


@pytest.mark.parametrize("output_format", LOSSY)
def test_the_limit_wins_where_both_cannot_be(output_format: OutputFormat) -> None:
    limit = size_at(output_format, 50) + STEP
    found = encoded(picture(), output_format, plain(fidelity=90.0, bytes_max=limit), finished)
    assert len(found.data) <= limit
    assert found == encoded(picture(), output_format, plain(bytes_max=limit), finished)
    assert found.fidelity is not None
    assert found.fidelity < 90


def test_a_floor_that_no_quality_reaches_gives_the_best() -> None:
    found = encoded(picture("astronaut"), "webp", plain(fidelity=99.0), finished)
    assert found.quality == MOST_QUALITY
    assert found.fidelity is not None
    assert found.fidelity < 99


@pytest.mark.parametrize("output_format", LOSSY)
def test_a_limit_below_the_lowest_quality_is_refused_with_both_numbers(output_format: OutputFormat) -> None:
    smallest = counted_bytes(finished(encode(picture(), output_format, LEAST_QUALITY)), output_format)
    found = encoded(picture(), output_format, plain(bytes_max=smallest), finished)
    assert found.quality in {LEAST_QUALITY, LEAST_QUALITY + 1}  # AVIF has 64 steps for our 100
    with pytest.raises(
        BudgetTooSmall, match=r"at quality 30, the lowest .* takes [\d.]+ kB, and bytes_max is 4 kB"
    ) as refused:
        encoded(picture(), output_format, plain(bytes_max=4000), finished)
    assert not refused.value.by_words


@pytest.mark.parametrize("output_format", LOSSY)
def test_words_that_take_the_room_of_the_picture_are_told_from_a_picture_that_is_too_large(
    output_format: OutputFormat,
) -> None:
    words = (9 * STEP + 8).to_bytes(4, "big") + b"free" + bytes(9 * STEP)
    smallest = min(
        len(picture_data(encode(picture(), output_format, LEAST_QUALITY, chroma=chroma), output_format))
        for chroma in (("4:4:4", "4:2:0") if output_format == "jpeg" else ("4:4:4",))
    )
    for room, by_words in ((2 * STEP, True), (STEP // 2, False)):
        with pytest.raises(BudgetTooSmall) as refused:
            encoded(picture(), output_format, plain(bytes_max=smallest + room), lambda data: data + words)
        assert refused.value.by_words is by_words


def test_chroma_is_halved_only_where_edges_stand_it_and_it_saves() -> None:
    """4:2:0 in a calm picture at a low floor; never where red edges would fray, and never at high fidelity."""
    sampled = {
        (name, floor): JpegImagePlugin.get_sampling(
            Image.open(io.BytesIO(encoded(picture(name), "jpeg", plain(fidelity=floor), finished).data))
        )
        for name, floor in (("calm", 60.0), ("calm", 95.0), ("coffee", 60.0))
    }
    full, halved = 0, 2  # Pillow's words for 4:4:4 and 4:2:0
    assert {("calm", 60.0): halved, ("calm", 95.0): full, ("coffee", 60.0): full} == sampled


def test_paper_gets_a_baseline_jpeg() -> None:
    for progressive in (True, False):
        data = encoded(picture(), "jpeg", replace(plain(fidelity=80.0), progressive=progressive), finished).data
        assert progressive == bool(Image.open(io.BytesIO(data)).info.get("progressive"))


def test_grey_pictures_have_a_fidelity() -> None:
    grey = Picture(image_of(picture().image.numpy()[..., 1]), GREY, 0.0)
    found = encoded(grey, "jpeg", plain(fidelity=85.0), finished)
    assert found.fidelity is not None
    assert found.fidelity >= 85
    assert Image.open(io.BytesIO(found.data)).mode == "L"


def test_cmyk_stays_within_its_limit_and_has_no_fidelity() -> None:
    profile = bytes(pyvips.Image.profile_load("cmyk"))
    settings = replace(plain(bytes_max=1_020_000), colour="press", icc_profile=profile, progressive=False)
    codes = picture().image.numpy()
    ink = made(codes, settings=settings)
    assert isinstance(ink.space, TableProfile)
    found = encoded(ink, "jpeg", settings, finished)
    assert len(profile) < len(found.data) <= 1_020_000
    assert found.fidelity is None
    assert Image.open(io.BytesIO(found.data)).mode == "CMYK"


@pytest.mark.parametrize("output_format", LOSSY)
def test_few_files_are_tried(output_format: OutputFormat, monkeypatch: pytest.MonkeyPatch) -> None:
    tried: Counter[int] = Counter()

    def counting(*arguments: object, **options: object) -> bytes:
        tried[arguments[2]] += 1  # type: ignore[index]
        return encode(*arguments, **options)  # type: ignore[arg-type]

    monkeypatch.setattr(budget, "encode", counting)
    encoded(picture(), output_format, plain(fidelity=80.0, bytes_max=60_000), finished)
    assert max(tried.values()) == 1  # none twice
    assert tried.total() <= 12


@given(
    st.lists(st.floats(0, 10), min_size=len(QUALITIES), max_size=len(QUALITIES)),
    st.floats(-5, 500),
    st.sampled_from(LOSSY),
)
def test_any_rising_curve_is_crossed_where_a_walk_crosses_it(
    steps: list[float], wanted: float, output_format: OutputFormat
) -> None:
    values = dict(zip(QUALITIES, np.cumsum(steps).tolist(), strict=True))
    curve = [(quality, fidelity) for quality, fidelity, _ in TYPICAL[output_format]]
    walk = next((quality for quality in QUALITIES if values[quality] >= wanted), MOST_QUALITY + 1)
    assert walk == lowest_rising(values.__getitem__, wanted, curve)


@given(st.lists(st.floats(0, 100), min_size=len(QUALITIES), max_size=len(QUALITIES)), st.floats(0, 100))
def test_a_curve_that_falls_in_places_is_still_crossed(found: list[float], wanted: float) -> None:
    values = dict(zip(QUALITIES, found, strict=True))
    quality = lowest_rising(values.__getitem__, wanted, [(30, 50), (100, 95)])
    assert quality == MOST_QUALITY + 1 or values[quality] >= wanted
    assert quality == LEAST_QUALITY or values[quality - 1] < wanted


@pytest.mark.parametrize("output_format", LOSSY)
def test_typical_curves_rise(output_format: OutputFormat) -> None:
    for column in zip(*TYPICAL[output_format], strict=True):
        assert sorted(set(column)) == list(column)


def test_the_same_file_each_time() -> None:
    make: Callable[[], bytes] = lambda: encoded(picture(), "jpeg", plain(fidelity=82.0), finished).data  # noqa: E731
    assert make() == make()
