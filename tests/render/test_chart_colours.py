"""Both editions of the 24-patch chart, from masters of every kind of profile into every target, in lossless files.

Expected are colour-science's numbers for the codes that the master holds; of tables, those of the judge's own reader.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
import pyvips

from pipeline.light.black_point import source_black
from pipeline.light.cielab import lightness_of
from tests.light import colour_science
from tests.light.colour_science import Floats, colour
from tests.light.foreign_profiles import encoded_in, gamma_curve, matrix_profile, parametric_curve, table_profile
from tests.light.foreign_tables import KINDS, press_profile, printer_profile
from tests.render.charts import PLAIN, Array, chart, delivered, made, squares
from tests.render.icc_tables import Judge, without_black

SRGB, ADOBE, P3, WIDE = colour_science.SRGB, colour_science.ADOBE_RGB, colour_science.DISPLAY_P3, colour_science.ROMM
TARGETS = {"srgb": SRGB, "display-p3": P3, "adobe-rgb": ADOBE}
SRGB_NUMBERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
MASTERS = {
    "sRGB, version 4": (SRGB, bytes(pyvips.Image.profile_load("srgb"))),
    "sRGB, version 2": (SRGB, matrix_profile(SRGB)),
    "sRGB by formula": (SRGB, matrix_profile(SRGB, parametric_curve(3, *SRGB_NUMBERS))),
    "Display P3, version 4": (P3, bytes(pyvips.Image.profile_load("p3"))),
    "Adobe RGB by gamma": (ADOBE, matrix_profile(ADOBE, gamma_curve(563 / 256))),
    "ROMM": (WIDE, matrix_profile(WIDE)),
    "Adobe RGB in tables": (ADOBE, table_profile(ADOBE)),
    "ROMM in tables": (WIDE, table_profile(WIDE, grid=5)),
}
DEVICES = {
    **{f"press, {kind}": press_profile(kind) for kind in KINDS},
    "printer": printer_profile(),
    "printer by XYZ": printer_profile(b"XYZ "),
}
SIDE, COLUMNS = 8, 16


def inside(target: str) -> Floats:
    """Return encoded sRGB (perhaps outside 0..1) of those of the 48 patches that a target's space holds."""
    patches = np.array(list(colour_science.chart_patches().values()))
    there = colour_science.converted(patches, SRGB, TARGETS[target])
    return np.asarray(patches[(there.min(axis=1) >= 0) & (there.max(axis=1) <= 1)], dtype=np.float64)


def difference(codes: Array, icc_profile: bytes, target: str, expected: Floats) -> Floats:
    """Return CIEDE2000 of each patch of a master in the delivered files of a target; `expected` is Lab D50."""
    picture = made(chart(codes, SIDE, COLUMNS), icc_profile, replace(PLAIN, colour=target))
    worst = np.zeros(len(codes))
    for lossless in ("png", "tiff"):
        found = squares(delivered(picture, lossless, 100), COLUMNS, len(codes)) / 255
        lab = colour_science.lab_d50(found, TARGETS[target])
        worst = np.maximum(worst, colour.delta_E(expected, lab, method="CIE 2000"))
    return worst


@pytest.mark.parametrize("target", TARGETS)
def test_nearly_all_patches_of_both_editions_are_tried(target: str) -> None:
    assert len(inside(target)) == (46 if target == "srgb" else 48)  # cyan lies outside sRGB


@pytest.mark.parametrize("master", MASTERS)
@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0)], ids=["RGB", "GBR"])
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_patches_keep_their_colour(
    master: str, target: str, order: tuple[int, int, int], dtype: type[np.unsignedinteger[Any]]
) -> None:
    name, icc_profile = MASTERS[master]
    if order != (0, 1, 2):  # a profile that says which channel is which
        icc_profile = matrix_profile(name, order=order)
    top = np.iinfo(dtype).max
    codes = np.rint(encoded_in(name, inside(target)) * top).astype(dtype)
    expected = colour_science.lab_d50(codes / top, name)
    assert difference(codes[:, list(order)], icc_profile, target, expected).max() < 1.0


@pytest.mark.parametrize("device", DEVICES)
@pytest.mark.parametrize("target", TARGETS)
def test_patches_of_a_press_or_printer_keep_their_colour(device: str, target: str) -> None:
    judge, profile = Judge(DEVICES[device]), DEVICES[device]
    asked = colour_science.lab_d50(np.clip(inside(target), 0, 1), SRGB)
    codes = np.rint(judge.to_device(asked) * 255).astype(np.uint8)
    expected = without_black(judge.to_lab(codes / 255), lightness_of(source_black(profile)))
    found = colour_science.converted(encoded_srgb(expected), SRGB, TARGETS[target])
    held = (found.min(axis=1) > 0) & (found.max(axis=1) < 1)
    assert held.sum() > 35
    rounded = colour_science.lab_d50(np.rint(found[held] * 255) / 255, TARGETS[target])
    rounding = colour.delta_E(expected[held], rounded, method="CIE 2000")  # of near-greys in 8 bits: up to 1.05
    assert (difference(codes[held], profile, target, expected[held]) < np.maximum(1.0, rounding + 0.02)).all()


def encoded_srgb(lab: Floats) -> Floats:
    xyz = colour.Lab_to_XYZ(lab, colour.XYZ_to_xy(colour_science.PCS_WHITE))
    light = xyz @ np.linalg.inv(colour_science.pcs_matrix(SRGB)).T
    return np.asarray(colour.RGB_COLOURSPACES[SRGB].cctf_encoding(light), dtype=np.float64)
