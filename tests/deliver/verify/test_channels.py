"""How many channels a file has, of files that Pillow writes."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from pipeline.deliver.verify.readers import read_back


@pytest.mark.parametrize(
    ("output_format", "mode", "channels"),
    [
        ("JPEG", "L", 1),
        ("JPEG", "RGB", 3),
        ("JPEG", "CMYK", 4),
        ("TIFF", "L", 1),
        ("TIFF", "LA", 1),
        ("TIFF", "RGB", 3),
        ("TIFF", "RGBA", 3),
        ("TIFF", "CMYK", 4),
        ("PNG", "L", 1),
        ("PNG", "LA", 1),
        ("PNG", "P", 3),
        ("PNG", "RGB", 3),
        ("PNG", "RGBA", 3),
        ("WEBP", "RGB", 3),
        ("AVIF", "RGB", 3),
    ],
)
def test_channels_are_those_of_colour(output_format: str, mode: str, channels: int) -> None:
    written = io.BytesIO()
    Image.new(mode, (16, 12), 0).save(written, output_format)
    assert channels == read_back(written.getvalue()).channels
