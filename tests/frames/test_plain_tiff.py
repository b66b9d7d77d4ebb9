"""A second way to read TIFF must not give a second picture, and must not take what it cannot read whole."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.frames.loaders import open_lazily
from pipeline.frames.plain_tiff import ASIDE, PAGE, plain_codes, room_for

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray


def some_codes(kind: type[np.uint8 | np.uint16], bands: int = 3) -> NDArray[Any]:
    shape = (37, 53, bands) if bands > 1 else (37, 53)
    return np.random.default_rng(3).integers(0, np.iinfo(kind).max, shape, endpoint=True).astype(kind)


def tiff(folder: Path, codes: NDArray[Any], **options: object) -> Path:
    path = folder / "frame.tif"
    tifffile.imwrite(path, codes, **({"photometric": "minisblack" if codes.ndim == 2 else "rgb"} | options))
    return path


@pytest.mark.parametrize("rows", [1, 5, 37], ids=lambda rows: f"{rows} rows a strip")
@pytest.mark.parametrize("order", ["<", ">"], ids=["II", "MM"])
@pytest.mark.parametrize("big", [False, True], ids=["classic", "big"])
@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_it_reads_what_was_written_and_what_libvips_reads(
    tmp_path: Path, kind: type[np.uint8 | np.uint16], bands: int, order: str, rows: int, *, big: bool
) -> None:
    """Written by tifffile."""
    codes = some_codes(kind, bands)
    path = tiff(tmp_path, codes, byteorder=order, rowsperstrip=rows, bigtiff=big)
    image = open_lazily(path, "tiff")
    found = plain_codes(image, path)
    assert found is not None
    assert found.dtype == kind
    np.testing.assert_array_equal(found.reshape(codes.shape), codes)
    np.testing.assert_array_equal(found, image.numpy().reshape(found.shape))


def test_it_reads_what_pillow_writes(tmp_path: Path) -> None:
    codes = some_codes(np.uint8)
    Image.fromarray(codes).save(tmp_path / "frame.tif")
    found = plain_codes(open_lazily(tmp_path / "frame.tif", "tiff"), tmp_path / "frame.tif")
    assert found is not None
    np.testing.assert_array_equal(found, codes)


@given(st.integers(1, 3 << 20), st.integers(0, 3 * PAGE))
def test_room_begins_a_little_further_on_in_a_page_than_what_is_read_into_it(size: int, start: int) -> None:
    room = room_for(size, start)
    assert room.shape == (size,)
    assert room.ctypes.data % ASIDE == 0
    assert ASIDE <= (room.ctypes.data - start) % PAGE < 2 * ASIDE


OTHERS: dict[str, dict[str, Any]] = {
    "deflate": {"compression": "zlib"},
    "deflate of differences": {"compression": "zlib", "predictor": True},
    "tiles": {"tile": (16, 16)},
    "planes": {"planarconfig": "separate"},
}


@pytest.mark.parametrize("other", OTHERS)
def test_what_is_packed_otherwise_is_left_to_libvips(tmp_path: Path, other: str) -> None:
    codes = some_codes(np.uint16)
    options = OTHERS[other]
    path = tiff(tmp_path, np.moveaxis(codes, 2, 0).copy() if other == "planes" else codes, **options)
    assert plain_codes(open_lazily(path, "tiff"), path) is None


@pytest.mark.parametrize(
    ("photometric", "codes"),
    [
        ("miniswhite", some_codes(np.uint8, 1)),
        ("rgb", some_codes(np.uint8, 4)),
        ("separated", some_codes(np.uint8, 4)),
        ("minisblack", some_codes(np.uint8, 1).astype(np.float32)),
    ],
    ids=["white is zero", "transparent", "CMYK", "float"],
)
def test_what_is_no_grey_and_no_rgb_is_left_to_libvips(tmp_path: Path, photometric: str, codes: NDArray[Any]) -> None:
    path = tiff(tmp_path, codes, photometric=photometric)
    assert plain_codes(open_lazily(path, "tiff"), path) is None


@pytest.mark.parametrize("kept", [9, 200, 8000, -1])
def test_what_is_cut_short_is_left_to_libvips(tmp_path: Path, kept: int) -> None:
    path = tiff(tmp_path, some_codes(np.uint16))
    image, data = open_lazily(path, "tiff"), path.read_bytes()
    path.write_bytes(data[:kept])
    assert plain_codes(image, path) is None


@pytest.mark.parametrize("shape", [(53, 37, 3), (37, 54, 3), (37, 53)], ids=str)
def test_what_is_another_picture_by_now_is_left_to_libvips(tmp_path: Path, shape: tuple[int, ...]) -> None:
    path = tiff(tmp_path, some_codes(np.uint16))
    image = open_lazily(path, "tiff")
    tiff(tmp_path, np.zeros(shape, np.uint16))
    assert plain_codes(image, path) is None
