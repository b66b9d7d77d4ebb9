"""A second way to decode JPEG must not give a second picture, and must not take what the first refuses."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from pipeline.frames.loaders import open_lazily
from pipeline.frames.turbo import turbo_codes

if TYPE_CHECKING:
    from pathlib import Path

WAYS = {
    "4:4:4": {"subsampling": 0},
    "4:2:2": {"subsampling": 1},
    "4:2:0": {"subsampling": 2},
    "progressive": {"subsampling": 2, "progressive": True},
    "restart markers": {"subsampling": 2, "restart_marker_rows": 1},
}


def jpeg(folder: Path, mode: str = "RGB", **options: object) -> Path:
    random = np.random.default_rng(4)
    picture = np.kron(random.integers(0, 256, (23, 37, 3)), np.ones((5, 5, 1))) + random.normal(0, 9, (115, 185, 3))
    path = folder / "frame.jpg"
    Image.fromarray(np.clip(picture, 0, 255).astype(np.uint8)).convert(mode).save(path, "JPEG", quality=90, **options)
    return path


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_it_decodes_what_libvips_and_pillow_decode(tmp_path: Path, mode: str, way: str) -> None:
    path = jpeg(tmp_path, mode, **WAYS[way])
    image = open_lazily(path, "jpeg")
    found = turbo_codes(image, path)
    assert found is not None
    np.testing.assert_array_equal(found, image.numpy().reshape(found.shape))
    with Image.open(path) as opened:
        np.testing.assert_array_equal(found, np.asarray(opened).reshape(found.shape))


def test_cmyk_is_left_to_libvips(tmp_path: Path) -> None:
    path = jpeg(tmp_path, "CMYK")
    assert turbo_codes(open_lazily(path, "jpeg"), path) is None


@pytest.mark.parametrize("kept", [0.2, 0.5, 0.9, 0.99])
def test_what_is_cut_short_is_left_to_libvips(tmp_path: Path, kept: float) -> None:
    path = jpeg(tmp_path)
    image, data = open_lazily(path, "jpeg"), path.read_bytes()
    path.write_bytes(data[: int(len(data) * kept)])
    assert turbo_codes(image, path) is None


@pytest.mark.parametrize("size", [(400, 300), (20, 10), (115, 185)])
def test_what_is_another_picture_by_now_is_left_to_libvips(tmp_path: Path, size: tuple[int, int]) -> None:
    path = jpeg(tmp_path)
    image, other = open_lazily(path, "jpeg"), io.BytesIO()
    Image.new("RGB", size, "red").save(other, "JPEG")
    path.write_bytes(other.getvalue())
    assert turbo_codes(image, path) is None
