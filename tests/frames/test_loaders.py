"""The one place where libvips opens a frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import pyvips

from pipeline.frames.loaders import LOADERS, colour_bands, field, open_lazily
from tests.frames.files import encoded, heic, noise, put

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import FrameFormat


def test_a_file_written_anew_under_the_same_name_is_read_anew(tmp_path: Path) -> None:
    for shade in (10, 200):
        path = put(tmp_path, "frame.png", encoded(np.full((4, 4, 3), shade, np.uint8), "PNG"))
        assert open_lazily(path, "png").avg() == shade


@pytest.mark.parametrize("frame_format", LOADERS)
def test_the_loader_goes_by_the_format_it_is_told(tmp_path: Path, frame_format: FrameFormat) -> None:
    data = heic(noise()) if frame_format == "heic" else encoded(noise(), frame_format.upper())
    path = put(tmp_path, "frame.txt", data)
    image = open_lazily(path, frame_format)
    assert (image.width, image.height) == (64, 48)
    other: FrameFormat = "png" if frame_format == "jpeg" else "jpeg"
    with pytest.raises(pyvips.Error):
        open_lazily(path, other)


def test_brackets_in_a_name_are_letters_not_options(tmp_path: Path) -> None:
    path = put(tmp_path, "bowl [shrink=2].jpg", encoded(noise(), "JPEG"))
    assert open_lazily(path, "jpeg").width == 64


def test_nothing_is_printed_for_a_damaged_file(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    data = encoded(noise(200, 300), "JPEG")
    path = put(tmp_path, "frame.jpg", data[: len(data) // 2])
    with pytest.raises(pyvips.Error):
        open_lazily(path, "jpeg").copy_memory()
    path = put(tmp_path, "frame.tif", encoded(noise(200, 300), "TIFF")[:9000])
    with pytest.raises(pyvips.Error):
        open_lazily(path, "tiff").copy_memory()
    captured = capfd.readouterr()
    assert (captured.out, captured.err) == ("", "")


@pytest.mark.parametrize(
    ("bands", "kind", "interpretation", "expected"),
    [
        (3, "uchar", "srgb", 3),
        (4, "ushort", "rgb16", 3),
        (1, "uchar", "b-w", 1),
        (2, "ushort", "grey16", 1),
        (4, "uchar", "cmyk", 4),
        (5, "ushort", "cmyk", 4),
        (3, "uchar", "cmyk", None),
        (3, "float", "srgb", None),
        (3, "uint", "srgb", None),
        (7, "uchar", "multiband", None),
        (3, "float", "lab", None),
    ],
)
def test_colour_bands(bands: int, kind: str, interpretation: str, expected: int | None) -> None:
    image = pyvips.Image.black(2, 2, bands=bands).cast(kind).copy(interpretation=interpretation)
    assert colour_bands(image) == expected


def test_a_missing_field_has_the_default() -> None:
    image = pyvips.Image.black(2, 3)
    assert field(image, "orientation", 1) == 1
    assert field(image, "height", 0) == 3
