"""A shoot under review, exported once; each test that changes it gets a copy of its own."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from tests.deliver.review.shoot import run, shoot

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="session")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the job of an exported shoot, to be looked at and not changed."""
    job = shoot(tmp_path_factory.mktemp("shoot"))
    run(job)
    return job


@pytest.fixture
def job(exported: Path, tmp_path: Path) -> Path:
    """Return a copy of the exported shoot, the times of its files kept."""
    shutil.copytree(exported.parent, tmp_path / "shoot")
    return tmp_path / "shoot" / exported.name
