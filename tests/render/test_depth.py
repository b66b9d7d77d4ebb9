"""Sixteen bits to the last step, then rounded once: a slow gradient through the whole chain, its levels counted.

The oracle is the gradient itself in float64: read with the curve of its encoding (IEC 61966-2-1, ISO 22028-2, Adobe RGB
(1998)), taken at the middle of each output pixel, and encoded with colour-science.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray

from pipeline.light.box import Size
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, ROMM, SRGB
from tests.light import colour_science
from tests.render.charts import PLAIN, SCREEN, delivered, made

if TYPE_CHECKING:
    from pipeline.plan.rendition import PixelSettings

Codes = NDArray[np.int64]
Floats = NDArray[np.float64]

WIDTH, HEIGHT = 3840, 48
SPACES = {
    "sRGB": (SRGB, colour_science.SRGB),
    "Adobe RGB": (ADOBE_RGB, colour_science.ADOBE_RGB),
    "ROMM RGB": (ROMM, colour_science.ROMM),
}
# A wall in the dark, a table cloth, a bright sky: 16-bit codes at the left and right, about 12 to 40 levels of 8 bits.
RAMPS = ((3_000, 9_000), (24_000, 34_000), (58_000, 64_000))
# Unreduced, and reduced 1.5, 2.5 and 7.3 times.
WIDTHS = (3840, 2560, 1536, 526)
RIM = 8  # columns at either end, where the kernel and the sharpening meet the end of the picture


def gradient(ramp: tuple[int, int], tilt: float = 0.0) -> Floats:
    """Return 16-bit codes (HEIGHT, WIDTH), not rounded; `tilt` is the share of the ramp spent from top to bottom."""
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    share = (1 - tilt) * columns / WIDTH + tilt * rows / HEIGHT
    return np.asarray(ramp[0] + (ramp[1] - ramp[0]) * share, dtype=np.float64)


def ideal(codes: Floats, space: str, size: Size) -> Floats:
    """Return the exact sRGB codes, 0..255, in the middle row of the picture brought to `size`."""
    columns = (np.arange(size.width) + 0.5) * WIDTH / size.width - 0.5
    row = np.interp(columns, np.arange(WIDTH), (codes[HEIGHT // 2 - 1] + codes[HEIGHT // 2]) / 2)
    light = colour_science.linear(row / 65535, SPACES[space][1])
    return 255 * np.asarray(colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(light))


def through(
    codes: Floats,
    space: str,
    size: Size,
    settings: PixelSettings = PLAIN,
    depth: type[np.uint8 | np.uint16] = np.uint16,
) -> Codes:
    """Return the green codes of the delivered PNG, as Pillow decodes it; those of the TIFF are seen to be the same."""
    stored = np.rint(codes if depth is np.uint16 else codes / 257).astype(depth)
    picture = made(stored[..., None].repeat(3, axis=2), write_matrix_profile(SPACES[space][0]), settings, size)
    png, tiff = (delivered(picture, output_format, 100) for output_format in ("png", "tiff"))
    np.testing.assert_array_equal(png, tiff)
    return png[..., 1].astype(np.int64)


def runs(row: Codes) -> Codes:
    """Return how many columns each level lasts, left to right."""
    return np.diff(np.concatenate([[0], np.flatnonzero(np.diff(row)) + 1, [len(row)]]))


def sizes() -> list[Size]:
    return [Size(width, round(HEIGHT * width / WIDTH)) for width in WIDTHS]


@pytest.mark.parametrize("space", SPACES)
@pytest.mark.parametrize("size", sizes(), ids=lambda size: str(size.width))
def test_a_slow_gradient_has_the_levels_and_runs_that_rounding_the_exact_one_gives(size: Size, space: str) -> None:
    for ramp in RAMPS:
        codes = gradient(ramp)
        exact = ideal(codes, space, size)[RIM:-RIM]
        found = through(codes, space, size)
        assert (found != found[:1]).mean() < 1e-3  # a column may lie on the border of two levels to the last float
        row = found[len(found) // 2][RIM:-RIM]
        wanted = np.rint(exact).astype(np.int64)
        assert set(range(wanted[0], wanted[-1] + 1)) == set(row.tolist())
        assert (np.diff(row) >= 0).all()
        # A 16-bit code is 1/257 of an 8-bit one (of a third of one in the dark of sRGB, steeper in ROMM RGB).
        assert np.abs(row - exact).max() <= 0.5 + 0.02
        assert np.abs(runs(wanted) - runs(row)).max() <= 1 + 0.04 * runs(wanted).max()


@pytest.mark.parametrize("size", sizes(), ids=lambda size: str(size.width))
def test_sharpening_draws_no_bands(size: Size) -> None:
    for ramp in RAMPS:
        codes = gradient(ramp)
        plain, sharp = (through(codes, "sRGB", size, settings) for settings in (PLAIN, SCREEN))
        assert np.abs(plain - sharp)[:, RIM:-RIM].max() <= 1
        assert (plain != sharp)[:, RIM:-RIM].mean() < 0.01
        assert (np.diff(sharp[len(sharp) // 2][RIM:-RIM]) >= 0).all()


def test_a_slanting_gradient_has_straight_borders() -> None:
    codes = gradient((24_000, 34_000), tilt=0.2)
    size = sizes()[1]
    found = through(codes, "ROMM RGB", size)[RIM:-RIM, RIM:-RIM]
    assert (np.diff(found, axis=0) >= 0).all()
    assert (np.diff(found, axis=1) >= 0).all()
    assert len(np.unique(found)) == found.max() - found.min() + 1


def test_from_eight_bits_of_a_wide_space_levels_are_missing() -> None:
    # What the counting is for: the same gradient from an 8-bit frame skips levels.
    codes = gradient((8_000, 18_000))
    size = sizes()[0]
    row = through(codes, "ROMM RGB", size, depth=np.uint8)[0][RIM:-RIM]
    wanted = np.rint(ideal(codes, "ROMM RGB", size)[RIM:-RIM]).astype(np.int64)
    assert len(set(wanted.tolist()) - set(row.tolist())) >= 5


def test_rounding_costs_half_a_level_and_is_done_once() -> None:
    # Uniform over a level, an error of rounding has the root mean square 1 / sqrt(12) = 0.289; twice rounded, more.
    codes = gradient((24_000, 34_000))
    for size in sizes():
        row = through(codes, "sRGB", size)[0][RIM:-RIM]
        error = row - ideal(codes, "sRGB", size)[RIM:-RIM]
        assert error.std() == pytest.approx(12**-0.5, rel=0.02)
        assert abs(error.mean()) < 0.01
