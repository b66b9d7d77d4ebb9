"""Stamps against what the file system itself does to a file: every kind of change is made, none is imitated."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING

import pytest

from pipeline.ledger.stamps import COARSE_SECONDS, changes, clock_ns, folder_stamps, settled, stamp, tree_stamp

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SECOND = 1_000_000_000


def next_tick() -> None:
    """Wait until what is changed from now on has another time than what was changed before."""
    now = clock_ns()
    while clock_ns() <= now:
        time.sleep(0.001)


def written_anew(path: Path) -> None:
    facts = path.stat()
    path.write_bytes(path.read_bytes()[::-1])
    os.utime(path, ns=(facts.st_atime_ns, facts.st_mtime_ns))


def replaced(path: Path) -> None:
    facts = path.stat()
    other = path.with_name("other")
    other.write_bytes(path.read_bytes()[::-1])
    os.utime(other, ns=(facts.st_atime_ns, facts.st_mtime_ns))
    other.replace(path)


def made_a_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def linked(path: Path) -> None:
    path.rename(path.with_name("elsewhere"))
    path.symlink_to("nowhere")


CHANGES: dict[str, Callable[[Path], object]] = {
    "written anew, with its old size and time": written_anew,
    "replaced by another of its size and time": replaced,
    "touched": lambda path: path.touch(),
    "longer": lambda path: path.write_bytes(b"bowls and spoons"),
    "not to be read": lambda path: path.chmod(0),
    "removed": lambda path: path.unlink(),
    "a folder": made_a_folder,
    "a link to nowhere": linked,
}


@pytest.mark.parametrize("change", CHANGES.values(), ids=CHANGES)
def test_every_change_of_a_file_shows_in_its_stamps(tmp_path: Path, change: Callable[[Path], object]) -> None:
    path = tmp_path / "out" / "deep" / "bowl"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"bowl and spoon")
    next_tick()

    def stamps() -> list[object]:
        return [stamp(path), folder_stamps(path.parent), tree_stamp(tmp_path / "out")]

    before = stamps()
    assert before == stamps()
    change(path)
    assert all(then != now for then, now in zip(before, stamps(), strict=True))


def test_a_file_that_comes_or_goes_beside_it_shows_in_the_folder_alone(tmp_path: Path) -> None:
    (tmp_path / "a").touch()
    one, folder, tree = stamp(tmp_path / "a"), folder_stamps(tmp_path), tree_stamp(tmp_path)
    (tmp_path / "b").touch()
    assert stamp(tmp_path / "a") == one
    assert folder_stamps(tmp_path) != folder
    assert tree_stamp(tmp_path) != tree
    (tmp_path / "b").unlink()
    assert folder_stamps(tmp_path) == folder
    assert tree_stamp(tmp_path) == tree


def test_a_folder_in_a_folder_counts_by_its_name_alone(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    before = folder_stamps(tmp_path)
    (tmp_path / "deep" / "a").touch()
    assert folder_stamps(tmp_path) == before
    (tmp_path / "deeper").mkdir()
    assert folder_stamps(tmp_path) != before


def test_the_tree_tells_when_its_last_file_changed(tmp_path: Path) -> None:
    (tmp_path / "deep").mkdir()
    for name in ("a", "deep/b", "c"):
        (tmp_path / name).touch()
        next_tick()
    (tmp_path / "deep" / "b").chmod(0o600)
    found = tree_stamp(tmp_path)
    assert found
    assert found[1] == (tmp_path / "deep" / "b").stat().st_ctime_ns


def test_links_in_a_tree_are_not_followed(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "round").symlink_to(tmp_path, target_is_directory=True)
    before = tree_stamp(tmp_path / "out")
    (tmp_path / "beside").touch()
    assert tree_stamp(tmp_path / "out") == before


def test_what_is_not_there_has_no_time(tmp_path: Path) -> None:
    for path in (tmp_path / "none", "a\0b", tmp_path / ("long" * 100)):
        assert len(stamp(path)) == 1
        assert list(folder_stamps(path)) == [""]
        assert tree_stamp(path) is None
    assert stamp(tmp_path / "none") != stamp(tmp_path / ("long" * 100))
    (tmp_path / "empty").mkdir()
    assert folder_stamps(tmp_path / "empty") == {} != folder_stamps(tmp_path / "none")
    assert list(changes([stamp(tmp_path / "none"), stamp(tmp_path)])) == [tmp_path.stat().st_ctime_ns]


def test_what_changed_in_this_tick_is_not_settled(tmp_path: Path) -> None:
    (tmp_path / "a").touch()
    changed = (tmp_path / "a").stat().st_ctime_ns
    assert not settled([changed], changed)
    next_tick()
    if changed % SECOND:
        assert settled([changed], clock_ns())


def test_a_file_system_of_whole_seconds_is_waited_for() -> None:
    assert not settled([5 * SECOND], (5 + COARSE_SECONDS) * SECOND)
    assert settled([5 * SECOND], (5 + COARSE_SECONDS) * SECOND + 1)
    assert settled([5 * SECOND + 1], 5 * SECOND + 2)
    assert not settled([1, 5 * SECOND + 1], 5 * SECOND + 1)
    assert settled([], 0)
