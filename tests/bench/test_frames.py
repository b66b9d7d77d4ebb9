"""The frames of the benches: fine to the last pixel, the same at every run, tagged as they say."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import tifffile
from PIL import Image

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Size
from tests.bench.frames import PHOTOGRAPHS, frame_light, photograph, write_frame
from tests.light import colour_science

if TYPE_CHECKING:
    from pathlib import Path

    from tests.bench.frames import Kind, Light, Tag

SIZE = Size(2400, 1600)
MIDDLE = 768  # px, where spectra are taken
EACH = pytest.mark.parametrize("name", PHOTOGRAPHS)


def octave(light: Light, low: float, high: float) -> float:
    """Return the power per frequency of the green light between two frequencies (cycles a pixel, 0.5 is Nyquist)."""
    top, left = (max(side - MIDDLE, 0) // 2 for side in light.shape[:2])
    green = light[top : top + MIDDLE, left : left + MIDDLE, 1].astype(np.float64)
    height, width = green.shape
    window = np.outer(np.hanning(height), np.hanning(width))
    power = np.abs(np.fft.rfft2((green - green.mean()) * window)) ** 2
    frequency = np.hypot(np.fft.fftfreq(height)[:, None], np.fft.rfftfreq(width)[None, :])
    return float(power[(frequency >= low) & (frequency < high)].mean())


def photograph_light(name: str) -> Light:
    return colour_science.linear(photograph(name) / 255, colour_science.SRGB).astype(np.float32)


def enlarged(name: str) -> Light:
    """Return linear light of the photograph's middle enlarged to the frame's size, and nothing more."""
    light = photograph_light(name)
    high = round(light.shape[1] * SIZE.height / SIZE.width)
    wide = round(light.shape[0] * SIZE.width / SIZE.height)
    top, left = max(light.shape[0] - high, 0) // 2, max(light.shape[1] - wide, 0) // 2
    box = (left, top, light.shape[1] - left, light.shape[0] - top)
    size = (SIZE.width, SIZE.height)
    bands = [Image.fromarray(light[..., band]).resize(size, Image.Resampling.BICUBIC, box=box) for band in range(3)]
    return np.stack([np.asarray(band, dtype=np.float32) for band in bands], axis=-1)


@EACH
def test_the_finest_octave_is_as_full_as_in_the_photograph_itself(name: str) -> None:
    light, small = frame_light(name, SIZE), photograph_light(name)
    in_frame, in_photograph = (octave(each, 0.25, 0.5) / octave(each, 0.02, 0.25) for each in (light, small))
    assert in_frame > 0.5 * in_photograph
    # Enlarging alone would leave it empty.
    assert octave(light, 0.25, 0.5) > 1000 * octave(enlarged(name), 0.25, 0.5)


@EACH
def test_seen_from_afar_the_frame_is_the_photograph(name: str) -> None:
    coarse = [
        np.asarray(Image.fromarray(light[..., 1]).resize((60, 40), Image.Resampling.BOX), dtype=np.float64).ravel()
        for light in (frame_light(name, SIZE), enlarged(name))
    ]
    assert np.corrcoef(coarse[0], coarse[1])[0, 1] > 0.95


def test_a_frame_is_the_same_at_every_run() -> None:
    np.testing.assert_array_equal(frame_light("flower", Size(300, 200)), frame_light("flower", Size(300, 200)))


@pytest.mark.parametrize(("kind", "bits", "tolerance"), [("jpeg", 8, 1.8), ("tiff", 16, 0.01)])
@pytest.mark.parametrize("tag", ["srgb", "adobe-rgb"])
def test_a_file_shows_the_same_colours_under_each_profile(
    kind: Kind, bits: int, tolerance: float, tag: Tag, tmp_path: Path
) -> None:
    light = frame_light("coffee", Size(300, 200))
    path = write_frame(tmp_path / f"frame.{kind}", light, kind, tag)
    header = read_header(path, name=path.name, pixel_limit=10**6)
    assert (header.format, header.size, header.bits) == (kind, Size(300, 200), bits)
    pixels = decode(header, name=path.name)
    assert pixels.notes == ()
    name = colour_science.SRGB if tag == "srgb" else colour_science.ADOBE_RGB
    found = colour_science.lab_d50(pixels.image.numpy() / (2**bits - 1), name)
    white = colour_science.colour.XYZ_to_xy(colour_science.PCS_WHITE)
    exact = colour_science.colour.XYZ_to_Lab(light @ colour_science.pcs_matrix(colour_science.SRGB).T, white)
    assert np.mean(colour_science.colour.delta_E(found, exact, method="CIE 2000")) < tolerance


def test_a_jpeg_frame_has_chroma_at_full_size(tmp_path: Path) -> None:
    path = write_frame(tmp_path / "frame.jpg", frame_light("rocket", Size(64, 48)), "jpeg", "srgb")
    with Image.open(path) as opened:
        assert [layer[1:3] for layer in opened.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]


def test_a_tiff_frame_is_plain_16_bits(tmp_path: Path) -> None:
    path = write_frame(tmp_path / "frame.tif", frame_light("rocket", Size(64, 48)), "tiff", "adobe-rgb")
    assert tifffile.imread(path).dtype == np.uint16
