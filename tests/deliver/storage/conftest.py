"""Storage of three kinds for the tests of this folder, each empty."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from tests.deliver.storage.servers import Held, s3, sftp

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@dataclass(frozen=True)
class Ground:
    """Storage to stand on: the address of an empty folder in it, and where an upload can be held."""

    url: str
    held: Held


@pytest.fixture(scope="package")
def s3_server() -> Iterator[tuple[str, Held]]:
    with s3() as served:
        yield served


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let copies, known hosts and keys be those of this test alone."""
    home = tmp_path / "home"
    home.mkdir()
    for name in ("AWS_PROFILE", "AWS_SESSION_TOKEN", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    settings = {
        "HOME": str(home),
        "AWS_ACCESS_KEY_ID": "planted-key-id",
        "AWS_SECRET_ACCESS_KEY": "planted-secret-key",
        "AWS_DEFAULT_REGION": "us-east-1",
        "AWS_EC2_METADATA_DISABLED": "true",
    }
    for name, value in settings.items():
        monkeypatch.setenv(name, value)
    return home


@pytest.fixture(params=["file", "s3", "sftp"])
def ground(
    request: pytest.FixtureRequest, tmp_path: Path, home: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Ground]:
    with contextlib.ExitStack() as stack:
        root = tmp_path / "root"
        root.mkdir()
        if request.param == "s3":
            address, held = request.getfixturevalue("s3_server")
            monkeypatch.setenv("AWS_ENDPOINT_URL", address)
            bucket = f"shoots-{abs(hash(tmp_path)):x}"
            import s3fs  # noqa: PLC0415 (slow to load)

            s3fs.S3FileSystem(endpoint_url=address).mkdir(bucket)
            yield Ground(f"s3://{bucket}", held)
        elif request.param == "sftp":
            address, held = stack.enter_context(sftp(root, home))
            yield Ground(f"{address}/shoots", held)
        else:
            yield Ground(f"file://{root}/shoots", Held())
