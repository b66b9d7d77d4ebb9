"""16 bits to the last step: a slow gradient, its levels counted and their runs measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, ROMM, SRGB
from tests.light import colour_science
from tests.quality.figure import Figure, at_most, exactly
from tests.render.charts import finished

if TYPE_CHECKING:
    from collections.abc import Iterator

STEP = "16 bits to the last step"
SPACES = {"sRGB": SRGB, "Adobe RGB": ADOBE_RGB, "ROMM RGB": ROMM}
NAMES = {"sRGB": colour_science.SRGB, "Adobe RGB": colour_science.ADOBE_RGB, "ROMM RGB": colour_science.ROMM}
WIDTH = 4096
FIRST, LAST = 8_000, 18_000  # of 65535: about 40 levels of 8 bits, as a wall in the dark or a table cloth has them


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure the gradient in each space; `full` changes nothing here."""
    del full
    codes = np.linspace(FIRST, LAST, WIDTH).round().astype(np.uint16)
    found = {name: _row(codes, name) for name in SPACES}
    exact = {name: _exact(codes, name) for name in SPACES}
    left_out = sum(len(set(range(int(row.min()), int(row.max()) + 1)) - set(row.tolist())) for row in found.values())
    yield Figure(
        STEP, f"grey gradient of 40 levels over {WIDTH} columns, from sRGB, Adobe RGB and ROMM RGB: levels left out",
        left_out, exactly(0), "arithmetic", "counted",
        f"from 8-bit ROMM RGB: {_left_out_from_8_bits(codes)}",
    )  # fmt: skip
    longest = max(_longest_run(found[name]) / _longest_run(np.rint(exact[name])) for name in SPACES)
    yield Figure(
        STEP, "the same: longest run of one level, as a multiple of the exact gradient's", longest, at_most(1.05),
        "house choice", "colour-science, float64",
    )  # fmt: skip
    furthest = max(float(np.abs(found[name] - exact[name]).max()) for name in SPACES)
    yield Figure(
        STEP, "the same: furthest from the exact gradient", furthest, at_most(0.52, "code values"),
        "rounded once: half a code", "colour-science, float64",
    )  # fmt: skip


def _row(codes: np.ndarray, name: str) -> np.ndarray:
    """Return the delivered green codes of a grey gradient in a space."""
    picture = np.tile(codes[None, :, None], (2, 1, 3))
    return finished(picture, write_matrix_profile(SPACES[name]))[0, :, 1].astype(int)


def _left_out_from_8_bits(codes: np.ndarray) -> int:
    row = _row((codes // 257).astype(np.uint8), "ROMM RGB")
    return len(set(range(int(row.min()), int(row.max()) + 1)) - set(row.tolist()))


def _exact(codes: np.ndarray, name: str) -> np.ndarray:
    """Return the encoded sRGB codes, not rounded, of a grey gradient in a space."""
    light = colour_science.linear(codes / 65535, NAMES[name])
    return 255 * np.asarray(colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(light))


def _longest_run(row: np.ndarray) -> int:
    """Return the length of the longest stretch of one value."""
    changes = np.flatnonzero(np.diff(row))
    return int(np.diff(np.concatenate([[-1], changes, [len(row) - 1]])).max())
