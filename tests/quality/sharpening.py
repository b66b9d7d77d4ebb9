"""Output sharpening: acuity by the slanted edge, halos, noise, and what must not change."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Size
from pipeline.light.sharpness import paper_halo_mm, paper_radius_px
from pipeline.light.spaces import ROMM
from pipeline.render.colour import matrix_of, working_space
from pipeline.render.resize import reduce
from pipeline.render.sharpen import sharpen_lightness
from tests.quality.figure import Figure, at_most, between, exactly
from tests.render.charts import PLAIN, SCREEN, finished, image_of
from tests.render.slanted_edge import mtf50
from tests.render.test_sharpen import (
    BLUR_PX,
    EDGES,
    PAPERS,
    SCREENS,
    acuity,
    edge_between,
    halo_px,
    lightness,
    noisy_grey,
    overshoot,
    reduced_edge,
    working_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.light.colour_science import Floats
    from tests.render.test_sharpen import Settings

STEP = "sharpening"
HOUSE = "house choice"
SLANTED = "slanted edge, ISO 12233"
MM_PER_INCH = 25.4
PPI = 300
VIEWING_MM = (250, 300, 400, 500, 800)
SHARP_BLUR_PX = 0.4
NOISE_SIDE, RIM = 512, 16


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure sharpening at amount 1; `full` changes nothing here."""
    del full
    for medium, every, limit in (("screens", SCREENS, 8), ("paper", PAPERS, 20)):
        edges = {codes: edge_between(codes) for codes in EDGES}
        gains = [acuity(edge, one) / mtf50(edge) for edge in edges.values() for one in every]
        for word, gain in (("least", min(gains)), ("most", max(gains))):
            yield Figure(
                STEP, f"{medium}, amount 1: MTF50 of an edge of sigma {BLUR_PX} px rises, {word} of {len(gains)} cases",
                gain, between(1.2, 1.6, "times"), HOUSE, SLANTED,
            )  # fmt: skip
        both = [edge_between(codes, blur) for codes in EDGES for blur in (BLUR_PX, SHARP_BLUR_PX)]
        yield Figure(
            STEP, f"{medium}: overshoot in lightness, at most, edges of sigma {BLUR_PX} and {SHARP_BLUR_PX} px",
            100 * max(overshoot(edge, one) for edge in both for one in every), at_most(limit, "% of the step"), HOUSE,
            "counted",
        )  # fmt: skip
    yield from _halos()
    yield from _noise()
    yield Figure(
        STEP, "pixels at 254 and above or 1 and below that sharpening changes", _clipped_changed(), exactly(0), HOUSE,
        "counted",
    )  # fmt: skip


def _halos() -> Iterator[Figure]:
    """Measure the full width of halos on paper, reduced 3 times, where the frame's own blur is not in the way."""
    working = working_of(reduced_edge((84, 161), 0.8, 3.0))
    wide = {}
    for viewing in VIEWING_MM:
        how = (paper_radius_px(viewing, PPI), 1.0, 0.18, 3.0)
        change = lightness(sharpen_lightness(*how)(working)) - lightness(working)
        wide[viewing] = halo_px(change) / PPI * MM_PER_INCH
    off = max(VIEWING_MM, key=lambda viewing: abs(wide[viewing] / paper_halo_mm(viewing) - 1))
    measured = ", ".join(f"{wide[viewing]:.2f} mm from {viewing} mm" for viewing in VIEWING_MM)
    yield Figure(
        STEP, f"paper, {PPI} ppi: full width of a halo against 2 x 0.0004 x viewing distance, furthest off",
        100 * abs(wide[off] / paper_halo_mm(off) - 1), at_most(10, "%"), "Fraser", SLANTED, measured,
    )  # fmt: skip


def _noise() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        for iso, limit in ((100, 1.05), (1600, 1.15)):
            grey = noisy_grey(iso, Path(folder))
            yield Figure(
                STEP, f"noise of flat grey at ISO {iso}, screens and paper: gain at most",
                max(_noise_gain(grey, one) for one in (*SCREENS, *PAPERS)), at_most(limit), HOUSE,
                "a camera's noise, modelled in numpy",
            )  # fmt: skip


def _noise_gain(frame: Floats, how: Settings) -> float:
    side = round(NOISE_SIDE / how[3])
    grey = reduce(Size(side, side), 1.0)(image_of(frame.astype(np.float32)))
    working = working_space(matrix_of(ROMM))(grey)
    inner = np.s_[RIM:-RIM, RIM:-RIM]
    before, after = (lightness(each)[inner] for each in (working, sharpen_lightness(*how)(working)))
    return float(after.std() / before.std())


def _clipped_changed() -> int:
    """Count the pixels of black, nearly black, blown and nearly blown parts that are not as without sharpening."""
    levels = np.array([0, 1, 2, 60, 128, 200, 253, 254, 255], np.uint8)
    picture = np.random.default_rng(8).choice(levels, (120, 160))[..., None].repeat(3, 2)
    plain = finished(picture)
    kept = (plain >= 254) | (plain <= 1)
    changed = 0
    for how in (
        SCREEN,
        replace(PLAIN, sharpen_radius_px=paper_radius_px(300, PPI), sharpen_amount=2.0, halo_limit=0.2),
    ):
        changed += int((finished(picture, settings=how) != plain)[kept].sum())
    return changed
