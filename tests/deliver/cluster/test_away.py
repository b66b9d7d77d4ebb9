"""Workers that share nothing with this process but a storage: they bring frames and send files themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.cli import main
from pipeline.deliver.storage.store import open_store
from tests.deliver.cluster.running import scheduler, workers
from tests.deliver.cluster.test_client import files, shoot
from tests.deliver.storage.servers import s3
from tests.deliver.storage.test_export import brought, put_up

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_workers_bring_and_send_and_the_bytes_are_those_of_one_machine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each worker has a cache of its own, so that no copy of this process's can serve it."""
    for name, value in (
        ("AWS_ACCESS_KEY_ID", "a"),
        ("AWS_SECRET_ACCESS_KEY", "b"),
        ("AWS_DEFAULT_REGION", "us-east-1"),
    ):
        monkeypatch.setenv(name, value)
    job = shoot(tmp_path / "here", 3)
    assert main(["export", str(job), "--workers", "1"]) == 0
    whole = files(tmp_path / "here" / "out")
    with s3() as (endpoint, _), scheduler(tmp_path) as (address, _):
        monkeypatch.setenv("AWS_ENDPOINT_URL", endpoint)
        import s3fs  # noqa: PLC0415 (slow to load)

        s3fs.S3FileSystem(endpoint_url=endpoint).mkdir("shoots")
        put_up("s3://shoots/soup", tmp_path / "here")
        monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "far cache"))
        with workers(address, tmp_path, 2):
            monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "here cache"))
            store = open_store("s3://shoots/soup/out")
            mine = tmp_path / "mine.jpg"
            mine.write_bytes(b"hers")
            store.put(mine, "blog/bean-soup-f1-square-100.jpg")
            export = ["export", "s3://shoots/soup/job.toml", "--scheduler", address]
            assert main(export) == 0
            assert "that version is now set-aside/blog/bean-soup-f1-square-100.jpg" in capsys.readouterr().out
            there = brought(store, tmp_path / "back")
            assert there.pop("set-aside/blog/bean-soup-f1-square-100.jpg")
            assert there == whole
            assert main(export) == 0
            assert "0 files rendered" in capsys.readouterr().out
        assert list((tmp_path / "far cache").rglob("f2.jpg"))
