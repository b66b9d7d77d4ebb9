"""The light a raw was balanced for: DNGs of an invented camera in lights of CIE 15, by colour-science's Ohno 2013."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from pipeline.frames.inspection.as_shot import as_shot, temperature_of
from pipeline.frames.read_header import read_header
from tests.frames.files import LIMIT, dng, encoded, mosaic, noise, put
from tests.frames.inspection.pictures import sample
from tests.light.colour_science import colour

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.light.colour_temperature import Temperature

WHITES = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
# XYZ to the values of an invented camera whose filters overlap.
FILTERS = np.array([[0.65, -0.12, -0.07], [-0.48, 1.28, 0.22], [-0.06, 0.18, 0.62]])


def shot(folder: Path, light: str) -> Temperature | None:
    """Return what is read of a raw whose as-shot neutral is what the camera answers to white in a light."""
    answer = FILTERS @ colour.xy_to_XYZ(WHITES[light])
    levels = mosaic(np.full((64, 64, 3), 0.5), gains=(1.0, 1.0, 1.0))
    data = dng(levels, matrix=tuple(FILTERS.ravel()), gains=tuple(answer.max() / answer))
    return as_shot(read_header(put(folder, "frame.dng", data), name="frame.dng", pixel_limit=LIMIT))


@pytest.mark.parametrize("light", ["A", "D50", "D55", "D65", "D75", "FL2", "FL11"])
def test_within_30_kelvin(tmp_path: Path, light: str) -> None:
    found = shot(tmp_path, light)
    kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(
        colour.UCS_to_uv(colour.XYZ_to_UCS(colour.xy_to_XYZ(WHITES[light])))
    )
    assert found is not None
    assert kelvin == pytest.approx(found.kelvin, abs=30)
    assert duv == pytest.approx(found.duv, abs=4e-4)


def test_the_samples_raw_was_balanced_for_daylight() -> None:
    found = as_shot(sample("close-up.dng").header)
    assert found is not None
    assert found.kelvin == pytest.approx(6504, abs=20)


def test_a_rendered_file_has_none(tmp_path: Path) -> None:
    path = put(tmp_path, "frame.jpg", encoded(noise(), "JPEG"))
    assert as_shot(read_header(path, name="frame.jpg", pixel_limit=LIMIT)) is None


def test_a_raw_that_is_gone_has_none(tmp_path: Path) -> None:
    data = dng(mosaic(np.full((64, 64, 3), 0.5)))
    path = put(tmp_path, "frame.dng", data)
    header = read_header(path, name="frame.dng", pixel_limit=LIMIT)
    path.unlink()
    assert as_shot(header) is None


@pytest.mark.parametrize(
    ("gains", "daylight", "matrix"),
    [
        ((0.0, 1.0, 1.0), (2.0, 1.0, 1.5), np.eye(3)),
        ((2.0, 1.0, 1.5), (2.0, 1.0, np.nan), np.eye(3)),
        ((2.0, 1.0, 1.5), (2.0, 1.0, 1.5), np.zeros((3, 3))),
        ((2.0, 1.0, 1.5), (2.0, 1.0, 1.5), np.zeros((3, 0))),
        ((1e-300, 1.0, 1.0), (1e300, 1.0, 1.0), np.eye(3) * 1e300),
        ((1e9, 1.0, 1.0), (1.0, 1.0, 1.0), np.eye(3)),
    ],
)
def test_gains_of_no_light(
    gains: tuple[float, ...], daylight: tuple[float, ...], matrix: np.ndarray[tuple[int, int], np.dtype[np.float64]]
) -> None:
    assert temperature_of(np.array(gains), np.array(daylight), matrix) is None
