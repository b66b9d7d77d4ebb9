"""One shoot, made once, and a copy of it for each test."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

import pipeline.deliver.verify.verify
from tests.deliver.pack.shoot import make_shoot

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)


@pytest.fixture(scope="session")
def made_shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a shoot, not to be written to."""
    return make_shoot(tmp_path_factory.mktemp("made")).parent


@pytest.fixture
def shoot(made_shoot: Path, tmp_path: Path) -> Path:
    """Return a copy of it; the output folder is `out` below."""
    return Path(shutil.copytree(made_shoot, tmp_path / "shoot"))


@pytest.fixture(autouse=True)
def our_own_readers_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ask no second reader, which is slow and tested elsewhere."""
    monkeypatch.setattr(pipeline.deliver.verify.verify, "consult", lambda *_: ("", []))
