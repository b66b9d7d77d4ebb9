from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from pipeline.frames.sidecar import MAX_SIDECAR_BYTES, find_sidecar, read_sidecar

if TYPE_CHECKING:
    from pathlib import Path


@pytest.mark.parametrize("name", ["bowl.xmp", "bowl.XMP", "bowl.jpg.xmp", "bowl.jpg.XMP"])
def test_names_of_a_sidecar(tmp_path: Path, name: str) -> None:
    (tmp_path / name).touch()
    found = find_sidecar(tmp_path / "bowl.jpg")
    assert found is not None
    assert found.samefile(tmp_path / name)


def test_another_frames_is_none(tmp_path: Path) -> None:
    for name in ("bowl-2.xmp", "bowl.png.xmp", ".xmp"):
        (tmp_path / name).touch()
    assert find_sidecar(tmp_path / "bowl.jpg") is None


def test_what_is_no_ordinary_file_is_never_opened(tmp_path: Path) -> None:
    (tmp_path / "bowl.jpg.xmp").mkdir()
    os.mkfifo(tmp_path / "bowl.xmp")  # opening it would wait for ever
    assert find_sidecar(tmp_path / "bowl.jpg") is None


def test_size_and_absence(tmp_path: Path) -> None:
    path = tmp_path / "bowl.xmp"
    path.write_bytes(b" " * MAX_SIDECAR_BYTES)
    assert len(read_sidecar(path) or b"") == MAX_SIDECAR_BYTES
    path.write_bytes(b" " * (MAX_SIDECAR_BYTES + 1))
    assert read_sidecar(path) is None
    assert read_sidecar(tmp_path / "none.xmp") is None
