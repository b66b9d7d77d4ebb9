"""Profiles of tables, CMYK in and out, and ink: against the profile's own tables read in float64, and LittleCMS."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.black_point import source_black
from pipeline.light.cielab import lightness_of
from pipeline.light.icc_output import TableProfile, read_output_profile
from tests.light import colour_science
from tests.light.foreign_tables import PRESS
from tests.quality.figure import Figure, at_most
from tests.quality.working import lab_difference
from tests.render.charts import PLAIN, finished, made
from tests.render.icc_tables import Judge, with_black, without_black
from tests.render.test_colour import by_littlecms
from tests.render.test_picture import patches
from tests.render.test_source import PROFILES, lab_by_steps

if TYPE_CHECKING:
    from collections.abc import Iterator

STEP = "tables and inks"
HOUSE = "house promise"
TABLES = "the profile's own tables, float64"
UNIT = "ΔE00"
DARK = 8.0  # L*: below it presses' colours are darker than their black, and hues of no meaning
DEPTHS = (np.uint8, np.uint16)
TO_PRESS = replace(PLAIN, colour="press", icc_profile=PRESS)


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure conversions by tables; `full` changes nothing here."""
    del full
    found = {f"{name}, {np.iinfo(dtype).bits} bits": _read(name, dtype) for name in PROFILES for dtype in DEPTHS}
    worst = max(found, key=lambda name: found[name])
    yield Figure(
        STEP, f"frames with profiles of tables ({len(PROFILES)}: presses and printers, versions 2 and 4): the largest",
        found[worst], at_most(1.0, UNIT), HOUSE, TABLES, worst,
    )  # fmt: skip
    inks = np.stack(np.meshgrid(*[np.arange(0, 256, 51, dtype=np.uint8)] * 4), -1).reshape(1, -1, 4)
    away = colour_science.difference(finished(inks, PRESS) / 255, by_littlecms(inks, PRESS, "CMYK") / 255)
    yield Figure(
        STEP, f"CMYK to sRGB, {inks.shape[1]} mixtures, rounded: 99 of 100 within", float(np.quantile(away, 0.99)),
        at_most(1.0, UNIT), HOUSE, "LittleCMS",
    )  # fmt: skip
    yield from _to_press()


def _read(name: str, dtype: type[np.unsignedinteger[Any]]) -> float:
    """Return the largest difference of a frame's colours to what the profile's tables say of its codes."""
    profile, bands = PROFILES[name]
    codes = np.random.default_rng(3).integers(0, np.iinfo(dtype).max, (1, 1500, bands), dtype, endpoint=True)
    wanted = Judge(profile).to_lab(codes[0] / np.iinfo(dtype).max)
    clear = wanted[:, 0] > DARK
    wanted = without_black(wanted, lightness_of(source_black(profile)))
    return float(lab_difference(lab_by_steps(codes, profile), wanted)[clear].max())


def _to_press() -> Iterator[Figure]:
    """Send the in-gamut patches of sRGB to the press: the inks, the colours that they give, and how much ink it is."""
    codes = np.rint(patches() * 255).astype(np.uint8)[None]
    picture = made(codes, settings=TO_PRESS)
    inks = picture.image.numpy()[0]
    judge, black = Judge(PRESS), _black()
    asked = with_black(colour_science.lab_d50(codes[0] / 255, colour_science.SRGB), black)
    exact = np.rint(judge.to_device(asked) * 255)
    yield Figure(
        STEP, f"{codes.shape[1]} colours of sRGB to CMYK: largest difference of an ink",
        float(np.abs(inks - exact).max()), at_most(1, "code values"), HOUSE, TABLES,
    )  # fmt: skip
    given = judge.to_lab(inks / 255)
    possible = judge.to_lab(judge.to_device(asked))
    yield Figure(
        STEP, "the same, as the press prints them: 95 of 100 within what its tables can give",
        float(np.quantile(lab_difference(given, possible), 0.95)), at_most(1.0, UNIT), HOUSE, TABLES,
        f"to what was asked {lab_difference(given, asked).mean():.1f} on average: many lie outside the press's gamut",
    )  # fmt: skip
    assert picture.ink is not None
    yield Figure(
        STEP, "total ink counted: difference to the heaviest pixel",
        abs(picture.ink.most - float(inks.sum(axis=1).max()) / 2.55), at_most(0.001, "%"), "arithmetic", "numpy",
        f"{picture.ink.most:.0f} %",
    )  # fmt: skip


def _black() -> float:
    space = read_output_profile(PRESS, "relative")
    assert isinstance(space, TableProfile)
    return lightness_of(space.black)
