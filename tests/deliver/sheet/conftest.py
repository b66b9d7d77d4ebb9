"""The small shoot, exported and shown to the partner once; each test works in a copy of its own."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from tests.deliver.sheet.real_shoot import run, write_shoot

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def _exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shoot")
    job = write_shoot(folder)
    assert run("export", job) == 0
    assert run("sheet", job, "--for", "partner") == 0
    return folder


@pytest.fixture
def job(_exported: Path, tmp_path: Path) -> Path:
    """Return the job of an exported shoot."""
    shutil.copytree(_exported, tmp_path / "shoot")
    return tmp_path / "shoot" / "job-of-my-own.toml"
