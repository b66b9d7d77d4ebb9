"""One delivery for all tests of this folder, and a copy of it for each."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.deliver.verify.delivery import deliver
from tests.exiftool import exiftool_says

Edit = Callable[..., None]


@pytest.fixture(scope="session")
def delivery(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a delivered folder, not to be written to."""
    return deliver(tmp_path_factory.mktemp("shoot"))


@pytest.fixture
def out(delivery: Path, tmp_path: Path) -> Path:
    """Return a copy of the delivered folder."""
    return Path(shutil.copytree(delivery, tmp_path / "out"))


@pytest.fixture
def edit() -> Edit:
    """Return `edit(path, *options)`, which lets exiftool change a file's metadata."""

    def run(path: Path, *options: str) -> None:
        exiftool_says("-q", "-m", "-overwrite_original", *options, path)

    return run
