"""Folders held and ledgers opened again: never another ledger in the place of the first, never too many files open."""

from __future__ import annotations

import fcntl
import shutil
from pathlib import Path

import pytest

from pipeline.deliver.folders import MOST_OPEN, Folders
from pipeline.faults import RequestRefused
from pipeline.ledger.made import Made

OPEN_FILES = Path("/proc/self/fd")


def row(name: str) -> Made:
    return Made(f"blog/{name}.jpg", name, "pixels", "words", "digest", 1, 1, None)


def some(tmp_path: Path, number: int) -> list[Path]:
    folders = [tmp_path / f"shoot-{count}" for count in range(number)]
    for folder in folders:
        folder.mkdir()
    return folders


def open_files() -> list[str]:
    """Return what this process holds open, as the system itself lists it."""
    found = []
    for one in OPEN_FILES.iterdir():
        try:
            found.append(str(one.readlink()))
        except OSError:
            continue
    return found


def test_what_was_recorded_in_a_ledger_that_was_closed_meanwhile_is_there(tmp_path: Path) -> None:
    outs = some(tmp_path, MOST_OPEN + 3)
    with Folders() as folders:
        for out in outs:
            folders.hold(out)
            folders.ledger(out).record([row("first")])
        for out in outs:
            folders.ledger(out).record([row("second")])
        assert all(sorted(folders.ledger(out).made()) == ["blog/first.jpg", "blog/second.jpg"] for out in outs)


@pytest.mark.skipif(not OPEN_FILES.is_dir(), reason="judge missing: a list of the files that a process holds open")
def test_few_ledgers_are_open_however_many_folders_are_held(tmp_path: Path) -> None:
    outs = some(tmp_path, 40)
    with Folders() as folders:
        for out in outs:
            folders.hold(out)
            folders.ledger(out).record([row("first")])
        mine = [name for name in open_files() if name.startswith(str(tmp_path))]
        assert sum(name.endswith("ledger.sqlite") for name in mine) == MOST_OPEN
        assert len(mine) <= len(outs) + 3 * MOST_OPEN  # a lock each; a ledger is three files
    assert [name for name in open_files() if name.startswith(str(tmp_path))] == []


@pytest.mark.parametrize("again", [False, True], ids=["gone", "another in its place"])
def test_a_folder_taken_away_while_its_ledger_was_closed_is_told(tmp_path: Path, *, again: bool) -> None:
    first, *others = some(tmp_path, MOST_OPEN + 1)
    with Folders() as folders:
        for out in (first, *others):
            folders.hold(out)
            folders.ledger(out)
        shutil.rmtree(first)
        if again:
            first.mkdir()
        with pytest.raises(FileNotFoundError, match="taken away while files were being written") as error:
            folders.ledger(first)
    assert error.value.filename == str(first)


def test_a_folder_is_free_again_once_it_is_let_go(tmp_path: Path) -> None:
    [out] = some(tmp_path, 1)
    with Folders() as folders, Folders() as others:
        folders.hold(out)
        with pytest.raises(RequestRefused, match="another export is at work in this folder"):
            others.hold(out)
        folders.let_go(out)
        others.hold(out)
    with (out / ".exporting").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
