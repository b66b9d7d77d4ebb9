"""Which file of a folder is which delivered file."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.verify import folder as folder_module
from pipeline.deliver.verify.delivered import read_manifest
from pipeline.deliver.verify.folder import pair
from pipeline.faults import RequestRefused
from tests.deliver.verify.delivery import of_ending

if TYPE_CHECKING:
    from pathlib import Path


def test_content_counts_more_than_a_name(out: Path) -> None:
    """The picture of the bowl under the bread's name in another folder is still the bowl."""
    delivered = read_manifest(out / "manifest.json")
    (out / "back").mkdir()
    (out / "blog/soup-bowl-hero-200.png").rename(out / "back/soup-bread-hero-200.png")
    (out / "blog/soup-bread-hero-200.png").unlink()
    places = {file.path: place for file, place in pair(out, delivered).pairs}
    assert places["blog/soup-bowl-hero-200.png"] == "back/soup-bread-hero-200.png"
    assert places["blog/soup-bread-hero-200.png"] is None


def test_two_strangers_of_one_name_are_not_guessed_between(out: Path) -> None:
    delivered = read_manifest(out / "manifest.json")
    (out / of_ending("jpg")).unlink()
    for place in ("a", "b"):
        (out / place).mkdir()
        (out / place / "soup-bowl-hero-200.jpg").write_bytes(b"not a picture")
    paired = pair(out, delivered)
    assert {file.path: place for file, place in paired.pairs}[of_ending("jpg")] is None
    assert paired.extra == ("a/soup-bowl-hero-200.jpg", "b/soup-bowl-hero-200.jpg")


def test_names_may_differ_by_case_and_ending(out: Path) -> None:
    delivered = read_manifest(out / "manifest.json")
    (out / of_ending("tif")).unlink()
    (out / "SOUP-BOWL-EIGHT-BY-TEN-300.TIFF").write_bytes(b"II*\0")
    places = {file.path: place for file, place in pair(out, delivered).pairs}
    assert places[of_ending("tif")] == "SOUP-BOWL-EIGHT-BY-TEN-300.TIFF"


def test_a_folder_of_too_many_files_is_refused(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folder_module, "_MOST_FILES", 5)
    with pytest.raises(RequestRefused, match="it holds more than 5 files; name the folder that holds the delivered"):
        pair(out, ())
