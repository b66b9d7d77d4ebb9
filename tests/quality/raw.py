"""Camera raw and HEIC: neutrals and a chart against arithmetic, blown windows, files cut short, pictures turned."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.faults import FrameUnreadable
from tests.frames.files import LETTER, dng, heic, letters, mosaic, put, turned
from tests.frames.test_heic import array as heic_array
from tests.frames.test_heic import decoded as heic_decoded
from tests.frames.test_raw import (
    FILTERS,
    GREYS,
    LIGHTS,
    array,
    colour_checker,
    decoded,
    difference,
    expected_lab,
    lab_of,
    neutral_of,
    patches_of,
    scene,
    window,
)
from tests.quality.figure import Figure, at_least, at_most, exactly

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.light.colour_science import Floats

STEP = "camera raw"
ARITHMETIC = "numpy, float64; colour-science"
CUTS = 25
LIGHT_NAMES = {"D65": "daylight", "A": "lamp light"}


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure synthetic raws of an invented camera; `full` changes nothing here."""
    del full
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield from _patches(folder)
        yield from _windows(folder)
        yield from _files(folder)


def _patches(folder: Path) -> Iterator[Figure]:
    for light, words in LIGHT_NAMES.items():
        camera = (GREYS[:, None] * neutral_of(light))[None]
        found = difference(expected_lab(camera, light)[0], patches_of(camera, light, folder))
        yield Figure(
            STEP, f"{len(GREYS)} neutral patches of a synthetic DNG in {words}: the largest difference",
            float(found.max()), at_most(2, "ΔE00"), "house promise", ARITHMETIC,
        )  # fmt: skip
    camera = colour_checker() @ FILTERS.T / (FILTERS @ LIGHTS["D65"]).max()
    found = difference(expected_lab(camera, "D65").reshape(-1, 3), patches_of(camera, "D65", folder))
    yield Figure(
        STEP, f"{len(found)} patches of the chart in daylight: the largest difference", float(found.max()),
        at_most(2, "ΔE00"), "house promise", ARITHMETIC,
    )  # fmt: skip


def _windows(folder: Path) -> Iterator[Figure]:
    """Measure a ramp of light from three stops under to three over what fills the sensor, with photon noise."""
    stops = np.linspace(-3, 3, 512)
    columns = {light: _columns(folder, light, stops) for light in LIGHT_NAMES}
    chroma = {light: float(np.hypot(lab[:, 1], lab[:, 2]).max()) for light, lab in columns.items()}
    worst = max(chroma, key=lambda light: chroma[light])
    yield Figure(
        STEP, "a blown window and the way to it: most chroma of what should be neutral", chroma[worst],
        at_most(1, "C* of Lab"), "house choice", "counted", f"in {LIGHT_NAMES[worst]}",
    )  # fmt: skip
    whitest = min(float(lab[-100:, 0].min()) for lab in columns.values())
    yield Figure(
        STEP, "lightness of what fills every colour of the sensor", whitest, at_least(99.9, "L*"), "house choice",
        "counted",
    )  # fmt: skip


def _files(folder: Path) -> Iterator[Figure]:
    """Count the raws cut short that give pixels, and the orientations of HEIC that come out otherwise than upright."""
    whole = dng(mosaic(scene()))
    ends = [*range(16, len(whole), len(whole) // CUTS), len(whole) - 1]
    yield Figure(
        STEP, f"a raw cut at {len(ends)} places: how many of them give pixels",
        sum(_opens(whole[:end], folder) for end in ends), exactly(0), "house promise", "counted",
    )  # fmt: skip
    stored = letters(LETTER, 16)
    shown = {each: heic_array(heic_decoded(heic(stored, orientation=each), folder)) for each in range(1, 9)}
    wrong = [each for each, found in shown.items() if not np.array_equal(turned(stored, each), found)]
    yield Figure(
        "HEIC", "8 orientations, said by the container and by Exif: not upright, or turned twice", len(wrong),
        exactly(0), "ISO/IEC 23008-12, Exif", "numpy",
    )  # fmt: skip


def _opens(data: bytes, folder: Path) -> bool:
    try:
        decoded(put(folder, "cut.dng", data))
    except FrameUnreadable:
        return False
    return True


def _columns(folder: Path, light: str, stops: Floats) -> Floats:
    """Return the mean Lab of each column of a developed ramp, its edges left out."""
    developed = array(decoded(put(folder, "window.dng", window(stops, neutral_of(light), light))))
    return np.asarray(lab_of(developed)[8:-8].mean(axis=0)[8:-8], dtype=np.float64)
