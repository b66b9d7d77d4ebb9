from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

from pipeline.deliver.write import (
    UNFINISHED,
    inside,
    prepare_folder,
    set_aside,
    sweep_unfinished,
    write_if_changed,
    write_whole,
)
from pipeline.faults import RequestRefused


def test_a_file_is_written_with_the_folders_on_its_way(tmp_path: Path) -> None:
    write_whole(tmp_path / "blog" / "a" / "bowl.jpg", b"whole")
    assert (tmp_path / "blog" / "a" / "bowl.jpg").read_bytes() == b"whole"
    assert [path.name for path in (tmp_path / "blog" / "a").iterdir()] == ["bowl.jpg"]


@pytest.mark.parametrize("step", ["fsync", "replace", "write"])
def test_whatever_fails_the_old_file_stays_whole_and_nothing_is_left_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    path = tmp_path / "bowl.jpg"
    path.write_bytes(b"old")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    if step == "write":
        monkeypatch.setattr(Path, "open", lambda *_: full())
    elif step == "replace":
        monkeypatch.setattr(Path, "replace", full)
    else:
        monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_whole(path, b"new")
    monkeypatch.undo()
    assert path.read_bytes() == b"old"
    assert [one.name for one in tmp_path.iterdir()] == ["bowl.jpg"]


def test_a_run_that_is_stopped_leaves_nothing_half_made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "bowl.jpg", b"new")
    assert list(tmp_path.iterdir()) == []


def test_the_data_is_on_disk_before_the_name_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    flush, replace = os.fsync, Path.replace

    def noted_flush(descriptor: int) -> None:
        steps.append(f"flushed {os.fstat(descriptor).st_size}")
        flush(descriptor)

    def noted_replace(path: Path, target: Path) -> Path:
        steps.append(f"renamed to {target.name}")
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", noted_flush)
    monkeypatch.setattr(Path, "replace", noted_replace)
    write_whole(tmp_path / "bowl.jpg", b"whole")
    assert steps == ["flushed 5", "renamed to bowl.jpg"]


def test_a_folder_of_that_name_is_not_replaced(tmp_path: Path) -> None:
    (tmp_path / "bowl.jpg").mkdir()
    with pytest.raises(IsADirectoryError):
        write_whole(tmp_path / "bowl.jpg", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["bowl.jpg"]


def test_what_holds_these_bytes_already_is_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "manifest.json"
    assert write_if_changed(tmp_path, "manifest.json", b"one")
    before = path.stat()
    assert not write_if_changed(tmp_path, "manifest.json", b"one")
    after = path.stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert write_if_changed(tmp_path, "manifest.json", b"two")
    assert path.read_bytes() == b"two"


def test_only_unfinished_files_of_ours_are_swept(tmp_path: Path) -> None:
    left = [tmp_path / f"{UNFINISHED}1-a.jpg", tmp_path / "blog" / f"{UNFINISHED}2-b.jpg"]
    kept = [
        tmp_path / "a.jpg",
        tmp_path / "blog" / "unfinished-1-a.jpg",
        tmp_path / "blog" / ".hidden",
        tmp_path / "blog" / f"{UNFINISHED}novel.txt",
        tmp_path / "elsewhere" / f"{UNFINISHED}3-c.jpg",
    ]
    for path in (*left, *kept):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    sweep_unfinished(tmp_path, [".", "blog"])
    assert [path.exists() for path in left] == [False, False]
    assert all(path.exists() for path in kept)


def test_places_below_the_folder(tmp_path: Path) -> None:
    assert inside(tmp_path, "blog/bowl.jpg") == tmp_path.resolve() / "blog" / "bowl.jpg"


@pytest.mark.parametrize("path", ["../bowl.jpg", "/etc/hosts", "blog/../../bowl.jpg", "elsewhere/bowl.jpg"])
def test_no_path_leads_out_of_the_folder(tmp_path: Path, path: str) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (tmp_path / "away").mkdir()
    (out / "elsewhere").symlink_to(tmp_path / "away")
    with pytest.raises(OSError, match="it leads out of the output folder"):
        inside(out, path)


def test_the_output_folder_is_made_and_left_empty(tmp_path: Path) -> None:
    prepare_folder(tmp_path / "a" / "out", "a/out")
    assert list((tmp_path / "a" / "out").iterdir()) == []


@pytest.mark.parametrize(
    ("name", "found"),
    [
        ("file", "{folder}/file is no folder"),
        ("file/out", "{folder}/file is no folder"),
        ("file/a/b", "{folder}/file is no folder"),
        ("a" * 300, "nothing can be written there (file name too long)"),
        ("a\0b", "nothing can be written there (embedded null byte)"),
    ],
)
def test_a_folder_that_cannot_be_written(tmp_path: Path, name: str, found: str) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(RequestRefused) as refused:
        prepare_folder(tmp_path / name, "out")
    assert str(refused.value) == (
        f"out: {found.format(folder=tmp_path)}; name a folder of yours with --out, or free some space"
    )


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="judge missing: a file system that nobody can write to")
def test_a_file_system_that_nobody_can_write_to() -> None:
    with pytest.raises(RequestRefused, match=r"^out: nothing can be written there \("):
        prepare_folder(Path("/proc/out"), "out")


@pytest.mark.parametrize("kind", ["link", "pipe", "folder"])
def test_only_plain_files_of_ours_are_written_over(tmp_path: Path, kind: str) -> None:
    place, other = tmp_path / "manifest.json", tmp_path / "hers.txt"
    other.write_bytes(b"hers")
    if kind == "link":
        place.symlink_to(other)
    elif kind == "pipe":
        os.mkfifo(place)
    else:
        place.mkdir()
    with pytest.raises(FileExistsError, match="no plain file"):
        write_if_changed(tmp_path, "manifest.json", b"ours")
    assert other.read_bytes() == b"hers"


def test_what_is_ours_or_the_same_is_not_set_aside(tmp_path: Path) -> None:
    path = tmp_path / "blog" / "a.jpg"
    path.parent.mkdir()
    assert set_aside(tmp_path, "blog/a.jpg", b"new", None) is None
    path.write_bytes(b"old")
    assert set_aside(tmp_path, "blog/a.jpg", b"old", None) is None
    assert set_aside(tmp_path, "blog/a.jpg", b"new", hashlib.sha256(b"old").hexdigest()) is None
    assert set_aside(tmp_path, "blog/a.jpg", b"new", hashlib.sha256(b"other").hexdigest()) == "set-aside/blog/a.jpg"
    assert not path.exists()
    assert (tmp_path / "set-aside" / "blog" / "a.jpg").read_bytes() == b"old"
