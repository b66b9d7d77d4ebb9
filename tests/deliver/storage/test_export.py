"""Exports from storage and to storage, whole commands, against an export on this machine."""

from __future__ import annotations

import fcntl
import os
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver.storage.copies import copies
from pipeline.deliver.storage.store import Store, open_store
from tests.deliver.cluster.test_client import files
from tests.deliver.storage.servers import PASSWORD, USER, WAIT_S
from tests.small_shoot import OWN_TARGET, frame

if TYPE_CHECKING:
    from pathlib import Path

    from tests.deliver.storage.conftest import Ground

HEAD = f"""
profiles = ["blog", "market-stall"]
profiles_folder = "mine"
captions = "words.csv"
[shoot]
title = "Bean soup"
targets = ["blog/square", "market-stall/card"]
[targets."blog/square"]{OWN_TARGET}
"""
PROFILE = f'outlet = "market-stall"\nabout = "Cards"\n[targets.card]{OWN_TARGET}'
SIDECAR = """<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" photoshop:Headline="By the sidecar"/>
</rdf:RDF></x:xmpmeta>"""
PLANTED = (PASSWORD, f"{USER}:", "planted-secret-key", "planted-key-id")
REJECTED = ("ledger.sqlite", ".exporting")


def shoot(folder: Path, caption: str = "Warm", frames: tuple[str, ...] = ("a.jpg", "selects/b.jpg")) -> Path:
    """Write a shoot with everything that a job may draw on; return the job file."""
    text = HEAD
    for number, file in enumerate(frames):
        if "://" not in file:
            frame(folder / file, (300 + number, 200))
        text += f'[[frames]]\nfile = "{file}"\nsubject = [0.5, 0.5]\nalt = "Soup"\n'
    (folder / "mine").mkdir(parents=True, exist_ok=True)
    (folder / "mine" / "market-stall.toml").write_text(PROFILE, encoding="utf-8")
    (folder / "words.csv").write_text(f"frame,caption\na,{caption}\n", encoding="utf-8")
    (folder / "a.xmp").write_text(SIDECAR, encoding="utf-8")
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def put_up(url: str, folder: Path) -> Store:
    """Send a folder into storage, but for what was made in it; return it there."""
    store = open_store(url)
    for path in folder.rglob("*"):
        name = path.relative_to(folder).as_posix()
        if path.is_file() and not name.startswith("out/"):
            store.put(path, name)
    return store


def brought(store: Store, to: Path) -> dict[str, str]:
    """Return the digest of every file that lies in storage, as `files` does of a folder."""
    for name in store.versions():
        store.get(name, to / name)
    return files(to)


def test_a_shoot_in_storage_gives_the_files_of_one_here(
    tmp_path: Path, ground: Ground, home: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    here = tmp_path / "here"
    job = shoot(here)
    put_up(f"{ground.url}/soup", here)
    assert main(["export", str(job), "--workers", "1"]) == 0
    capsys.readouterr()
    url = f"{ground.url}/soup/job.toml"
    assert main(["export", url, "--workers", "1"]) == 0
    said = capsys.readouterr()
    out = open_store(f"{ground.url}/soup/out")
    assert files(here / "out") == brought(out, tmp_path / "back")
    assert f"sent to {out.shown}" in said.out
    assert set(REJECTED) & set(out.versions()) == {"ledger.sqlite"}
    kept = [path for top in (tmp_path / "back", home / ".cache") for path in top.rglob("*") if path.is_file()]
    assert len(kept) > 20
    for text in (said.out, said.err, *(path.read_bytes().decode("latin-1") for path in kept)):
        assert not [word for word in PLANTED if word in text]
    assert (home / ".cache" / "plateline-storage").stat().st_mode & 0o077 == 0

    before = out.versions()
    assert main(["export", url, "--workers", "1"]) == 0
    assert "0 files rendered" in capsys.readouterr().out
    del before["ledger.sqlite"]
    assert before.items() <= out.versions().items()

    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "another machine"))
    shoot(here, caption="Cold")
    put_up(f"{ground.url}/soup", here)
    out.remove("blog/bean-soup-b-square-100.jpg")
    assert main(["export", str(job), "--workers", "1"]) == 0
    capsys.readouterr()
    assert main(["export", url, "--workers", "1"]) == 0
    assert "1 file rendered, " in capsys.readouterr().out
    after = brought(out, tmp_path / "again")
    pictures = {name for name in after if name.endswith(".jpg")}
    assert pictures
    assert {name: after[name] for name in pictures} == {name: files(here / "out")[name] for name in pictures}


def test_looking_at_a_job_in_storage_writes_nothing_there(
    tmp_path: Path, ground: Ground, capsys: pytest.CaptureFixture[str]
) -> None:
    shoot(tmp_path / "here")
    store = put_up(f"{ground.url}/soup", tmp_path / "here")
    before = store.versions()
    for verb in ("check", "plan"):
        assert main([verb, f"{ground.url}/soup/job.toml"]) == 0
    assert "bean-soup-a-square-100.jpg" in capsys.readouterr().out
    assert store.versions() == before
    assert main(["inspect", f"{ground.url}/soup/job.toml"]) == 2
    assert "inspect works on files of this machine; only check, plan, export, sheet take addresses" in (
        capsys.readouterr().err
    )


def test_a_job_here_names_frames_in_storage(tmp_path: Path, ground: Ground, capsys: pytest.CaptureFixture[str]) -> None:
    with_frames = tmp_path / "up"
    frame(with_frames / "a.jpg", (300, 200))
    (with_frames / "a.xmp").write_text(SIDECAR, encoding="utf-8")
    put_up(f"{ground.url}/card", with_frames)
    bare = ground.url.replace(f":{PASSWORD}", "")
    if bare != ground.url:  # with a password it is refused, and the password is not shown
        job = shoot(tmp_path / "secret", frames=(f"{ground.url}/card/a.jpg",))
        assert main(["plan", str(job)]) == 2
        said = capsys.readouterr().err
        assert "the address carries a password or a key; leave that out" in said
        assert PASSWORD not in said
        return
    job = shoot(tmp_path / "here", frames=(f"{bare}/card/a.jpg",))
    assert main(["export", str(job), "--workers", "1"]) == 0
    capsys.readouterr()
    other = shoot(tmp_path / "other", frames=("a.jpg",))
    assert main(["export", str(other), "--workers", "1"]) == 0
    here, there = (files(one.parent / "out") for one in (job, other))
    same = [name for name in here if name.endswith(".jpg")]
    assert same
    assert {name: here[name] for name in same} == {name: there[name] for name in same}
    assert '"file": "a.jpg"' in (tmp_path / "here" / "out" / "manifest.json").read_text(encoding="utf-8")
    job = shoot(tmp_path / "gone", frames=(f"{bare}/card/other.jpg",))
    assert main(["plan", str(job)]) == 2
    assert "other.jpg: file: there is no such file" in capsys.readouterr().err


def test_another_export_in_the_same_folder_is_told(
    tmp_path: Path, ground: Ground, capsys: pytest.CaptureFixture[str]
) -> None:
    job, url = shoot(tmp_path / "here"), f"{ground.url}/out"
    export = ["export", str(job), "--out", url, "--workers", "1"]
    store = open_store(url)
    assert store.create(".exporting", b'{"owner": "another", "since": "2026-11-30T12:00:00+00:00"}')
    assert main(export) == 2
    said = capsys.readouterr().err
    assert (
        "another export is at work in this folder, since 2026-11-30T12:00:00+00:00; wait for it; where it was" in said
    )
    assert list(store.versions()) == [".exporting"]
    (tmp_path / "empty").touch()
    store.put(tmp_path / "empty", ".exporting")  # as an export to a folder leaves it, sent along with that folder
    assert main(["sheet", *export[1:]]) == 0
    for name in store.versions():
        store.remove(name)
    capsys.readouterr()
    with copies(url, alone=True):  # one of this machine
        assert main(export) == 2
    assert "another export is at work in this folder; wait for it" in capsys.readouterr().err
    assert store.versions() == {}
    assert main(export) == 0


def _begun(export: list[str], ground: Ground) -> None:
    """Begin an export, and kill it when the upload of a picture is half through."""
    ground.held.wanted.set()
    with subprocess.Popen(
        [sys.executable, "-m", "pipeline", *export], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as run:
        try:
            assert ground.held.reached.wait(WAIT_S), run.communicate(timeout=5)[0]
        finally:
            os.kill(run.pid, signal.SIGKILL)
    ground.held.wanted.clear()


def test_killed_in_the_middle_of_an_upload_nothing_half_has_a_final_name(
    tmp_path: Path, ground: Ground, capsys: pytest.CaptureFixture[str]
) -> None:
    if ground.url.startswith("file"):
        return  # no upload: what holds one is a server
    job = shoot(tmp_path / "here")
    assert main(["export", str(job), "--workers", "1"]) == 0
    url = f"{ground.url}/soup/out"
    export = ["export", str(job), "--out", url, "--workers", "1"]
    _begun(export, ground)
    store = open_store(url)
    whole = files(tmp_path / "here" / "out")
    left = brought(store, tmp_path / "left")
    finished = {name: digest for name, digest in left.items() if not name.rpartition("/")[2].startswith(".unfinished-")}
    assert finished.items() <= whole.items()
    assert len(finished) < len(whole)
    capsys.readouterr()
    ground.held.go_on.set()
    assert main(export) == 0
    ground.held.go_on.clear()
    ground.held.reached.clear()
    after = brought(store, tmp_path / "after")
    same = [name for name in whole if name.endswith(".jpg")]
    assert {name: after[name] for name in same} == {name: whole[name] for name in same}
    assert not [name for name in store.versions() if ".unfinished-" in name or name.endswith(".exporting")]


def test_the_private_folder_is_held_by_one_process(ground: Ground) -> None:
    with copies(f"{ground.url}/out") as here, (here.home / "lock").open("rb") as lock, pytest.raises(BlockingIOError):
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)


@pytest.mark.parametrize("file", ["../a.jpg", "/pictures/a.jpg"])
def test_a_job_in_storage_draws_on_nothing_outside_its_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str
) -> None:
    (tmp_path / "job.toml").write_text(f'profiles = ["blog"]\n[[frames]]\nfile = "{file}"\n', encoding="utf-8")
    assert main(["plan", f"file://{tmp_path}/job.toml"]) == 2
    assert f"job.toml: '{file}' lies outside the folder of the job; put it beside the job" in capsys.readouterr().err
