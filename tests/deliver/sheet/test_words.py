"""How the sheet says things: places, weights, exposures, days."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from pipeline.deliver.sheet.words import day_in_words, exposure, landing, weight
from pipeline.frames.header import CameraFacts
from pipeline.light.box import WHOLE, Box, Point
from pipeline.plan.rendition import Crop
from tests.deliver.sheet.sheet_shoot import CAMERA, plain

if TYPE_CHECKING:
    from pipeline.plan.rendition import Reached


@pytest.mark.parametrize(
    ("at", "reached", "words"),
    [
        (Point(1 / 3, 1 / 3), "crossing", "on the upper left crossing"),
        (Point(2 / 3, 1 / 3), "crossing", "on the upper right crossing"),
        (Point(1 / 3, 2 / 3), "crossing", "on the lower left crossing"),
        (Point(2 / 3, 2 / 3), "crossing", "on the lower right crossing"),
        (Point(1 / 3, 0.5), "line", "on the left third"),
        (Point(2 / 3, 0.9), "line", "on the right third"),
        (Point(0.1, 1 / 3), "line", "on the upper third"),
        (Point(0.52, 2 / 3), "line", "on the lower third"),
        (Point(0.5, 0.5), "point", "in the centre"),
        (Point(0.4, 0.55), "point", "on its anchor, 40 % across, 55 % down"),
        (Point(0.97, 0.4), "no", "anchor not reached: 97 % across, 40 % down"),
        (Point(1.2, 0.4), "no", "anchor not reached: outside the crop"),
    ],
)
def test_landing_is_said_in_words(at: Point, reached: Reached, words: str) -> None:
    assert words == plain(landing(Crop(Box(0, 0, 3000, 2000), at, reached, 1.0, 0.0), WHOLE))


@given(
    width=st.integers(200, 8000),
    height=st.integers(200, 8000),
    lines=st.tuples(st.sampled_from([1, 2]), st.sampled_from([1, 2])),
    off=st.tuples(st.floats(-0.5, 0.5), st.floats(-3, 3)),
    upright=st.booleans(),
)
@example(width=200, height=8000, lines=(1, 1), off=(0.5, 2.0), upright=True)
def test_line_named_is_the_nearest_in_pixels(
    *, width: int, height: int, lines: tuple[int, int], off: tuple[float, float], upright: bool
) -> None:
    """A subject near two lines is said to be on the one that is fewer pixels away: half a pixel is what is allowed."""
    across, down = off if upright else off[::-1]
    at = Point(lines[0] / 3 + across / width, lines[1] / 3 + down / height)
    words = landing(Crop(Box(0, 0, width, height), at, "line", 1.0, 0.0), WHOLE)
    distances = {
        "on the left third": abs(at.x - 1 / 3) * width,
        "on the right third": abs(at.x - 2 / 3) * width,
        "on the upper third": abs(at.y - 1 / 3) * height,
        "on the lower third": abs(at.y - 2 / 3) * height,
    }
    assert distances[words] == pytest.approx(min(distances.values()), abs=1e-6)


@pytest.mark.parametrize(
    ("size_bytes", "words"),
    [
        (0, "0 B"),
        (999, "999 B"),
        (1000, "1.0 kB"),
        (9_949, "9.9 kB"),
        (9_951, "10 kB"),
        (84_321, "84 kB"),
        (999_499, "999 kB"),
        (999_500, "1.0 MB"),
        (31_900_000, "32 MB"),
    ],
)
def test_weight_counts_in_thousands(size_bytes: int, words: str) -> None:
    """SI Brochure, 9th edition, table 7: kilo is 10^3, mega 10^6."""
    assert words == plain(weight(size_bytes))


@pytest.mark.parametrize(
    ("camera", "words"),
    [
        (CAMERA, "f/8 · 1/125 s · ISO 100 · 50 mm"),
        (CameraFacts(f_number=Fraction(28, 10), exposure_s=Fraction(10, 600)), "f/2.8 · 1/60 s"),
        (CameraFacts(exposure_s=Fraction(1), focal_mm=Fraction(235, 10)), "1 s · 23.5 mm"),
        (CameraFacts(exposure_s=Fraction(6, 10)), "0.6 s"),
        (CameraFacts(exposure_s=Fraction(1, 2)), "1/2 s"),
        (CameraFacts(exposure_s=Fraction(30)), "30 s"),
        (CameraFacts(exposure_s=Fraction(16_667, 1_000_000)), "1/60 s"),
        (CameraFacts(), ""),
    ],
)
def test_exposure_reads_as_photographers_write_it(camera: CameraFacts, words: str) -> None:
    assert words == plain(exposure(camera))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-09-12", "12 September 2026"),
        ("2026-01-01T00:05:59", "1 January 2026, 00:05"),
        ("2026-09-12T10:24:31+02:00", "12 September 2026, 10:24"),
        ("late summer", "late summer"),
    ],
)
def test_days_are_written_out(text: str, words: str) -> None:
    """ISO 8601 in; what is none is left alone."""
    assert words == plain(day_in_words(text))
