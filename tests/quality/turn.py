"""Levelling: a turned and reduced picture against a direct sum in double precision, and beside two resamplings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from pipeline.light.box import Box, Size
from pipeline.light.turn import Turn
from tests.bench.frames import encoded, frame_light
from tests.light import colour_science
from tests.quality.figure import Figure, at_most
from tests.quality.working import lab_difference, lab_of_light, working_lab
from tests.render.charts import pixels_of
from tests.render.reference import reference_picture

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.bench.frames import Codes
    from tests.light.colour_science import Floats

STEP = "turn"
HOUSE = "house promise"
ORACLE = "numpy, float64: one sum over both axes a pixel"
UNIT = "ΔE00"
FRAME, SHOWN, FACTOR = Size(1500, 1000), Size(400, 250), 2.5
TURNS_DEG = (-0.8, 2.5, -12.0)


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure a few turns; `full` changes nothing here."""
    del full
    light = frame_light("coffee", FRAME)
    codes = encoded(light, "srgb", 16)
    found, twice = {}, {}
    for degrees in TURNS_DEG:
        turned = Turn(FRAME, degrees).size
        box = Box((turned.width - SHOWN.width) // 2, (turned.height - SHOWN.height) // 2, SHOWN.width, SHOWN.height)
        size = Size(round(SHOWN.width / FACTOR), round(SHOWN.height / FACTOR))
        exact = reference_picture(codes, colour_science.SRGB, box, size, degrees, turned)
        found[degrees] = lab_difference(working_lab(pixels_of(codes), box, size, degrees), exact)
        twice[degrees] = lab_difference(_in_two_steps(codes, turned, box, size, degrees), exact)
    angles = ", ".join(f"{each:g}" for each in TURNS_DEG)
    worst = max(TURNS_DEG, key=lambda degrees: float(found[degrees].mean()))
    yield Figure(
        STEP, f"turned by {angles} degrees and reduced {FACTOR} times: mean difference",
        float(found[worst].mean()), at_most(0.10, UNIT), HOUSE, ORACLE,
        f"at {worst:g}; turned and then reduced {twice[worst].mean():.2f}",
    )  # fmt: skip
    worst = max(TURNS_DEG, key=lambda degrees: float(np.quantile(found[degrees], 0.99)))
    yield Figure(
        STEP, "the same, 99th percentile of the pixels", float(np.quantile(found[worst], 0.99)), at_most(0.6, UNIT),
        HOUSE, ORACLE, f"at {worst:g}; turned and then reduced {np.quantile(twice[worst], 0.99):.1f}",
    )  # fmt: skip


def _in_two_steps(codes: Codes, turned: Size, box: Box, size: Size, degrees: float) -> Floats:
    """Return Lab of the same by Pillow: turned with its bicubic kernel, cut, reduced with Lanczos, in linear light."""
    light = colour_science.linear(codes / 65535, colour_science.SRGB).astype(np.float32)
    left, top = box.left + (FRAME.width - turned.width) / 2, box.top + (FRAME.height - turned.height) / 2
    bands = [
        Image.fromarray(np.ascontiguousarray(light[..., band]))
        .rotate(-degrees, resample=Image.Resampling.BICUBIC)
        .resize(
            (size.width, size.height),
            Image.Resampling.LANCZOS,
            box=(left, top, left + box.width, top + box.height),
        )
        for band in range(3)
    ]
    reduced = np.clip(np.stack([np.asarray(band, dtype=np.float64) for band in bands], axis=-1), 0, 1)
    return lab_of_light(reduced, colour_science.SRGB)
