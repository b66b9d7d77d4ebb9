"""Which jobs a folder stands for: found at any depth, each once, and said where there is none."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.jobs import find_jobs
from pipeline.faults import RequestRefused

if TYPE_CHECKING:
    from pathlib import Path


def shoots(tmp_path: Path, *names: str) -> Path:
    """Make a job file in each of these folders below one."""
    for name in names:
        (tmp_path / name).mkdir(parents=True, exist_ok=True)
        (tmp_path / name / "job.toml").touch()
    return tmp_path


def found(top: Path, *named: Path) -> list[str]:
    return [job.relative_to(top).as_posix() for job in find_jobs(named or (top,))]


def refused(*named: Path) -> list[str]:
    with pytest.raises(RequestRefused) as caught:
        find_jobs(named)
    return [str(fault) for fault in caught.value.faults]


def test_every_job_in_a_folder_and_below_is_found_by_path(tmp_path: Path) -> None:
    top = shoots(tmp_path, "soup", "2026/plum-cake", "2026/bread", ".")
    (top / "soup" / "another.toml").touch()
    assert found(top) == ["job.toml", "2026/bread/job.toml", "2026/plum-cake/job.toml", "soup/job.toml"]


def test_a_job_file_is_taken_by_whatever_name_and_order_it_is_given(tmp_path: Path) -> None:
    top = shoots(tmp_path, "soup", "bread")
    (top / "bread" / "again.toml").touch()
    assert found(top, top / "soup", top / "bread" / "again.toml") == ["soup/job.toml", "bread/again.toml"]


def test_hidden_folders_are_passed_over(tmp_path: Path) -> None:
    assert found(shoots(tmp_path, "soup", ".trash/soup")) == ["soup/job.toml"]


def test_a_job_named_twice_is_one(tmp_path: Path) -> None:
    top = shoots(tmp_path, "soup")
    (top / "link.toml").symlink_to(top / "soup" / "job.toml")
    assert found(top, top / "soup" / "job.toml", top, top / "link.toml") == ["soup/job.toml"]


def test_links_are_followed_once_also_where_they_go_round(tmp_path: Path) -> None:
    top = shoots(tmp_path / "here", "soup")
    shoots(tmp_path / "elsewhere", "cake")
    (top / "round").symlink_to(top)
    (top / "soup" / "up").symlink_to(tmp_path)
    (top / "one").symlink_to(tmp_path / "elsewhere")
    (top / "two").symlink_to(tmp_path / "elsewhere")
    assert found(top) == ["one/cake/job.toml", "soup/job.toml"]


def test_what_is_not_there_or_holds_no_job_is_told_all_at_once(tmp_path: Path) -> None:
    top = shoots(tmp_path, "soup")
    (top / "empty").mkdir()
    assert refused(top / "empty", top / "absent.toml", top / "soup") == [
        (
            f"{top}/empty: there is no job.toml in it or below it; "
            "name a job file, a folder of shoots, or let `plateline new FOLDER` write a first one"
        ),
        f"{top}/absent.toml: there is no such file; name a TOML file that is there",
    ]


def test_a_folder_that_cannot_be_looked_into_is_told_and_not_passed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    top = shoots(tmp_path, "soup", "locked")
    scandir = os.scandir

    def refusing(place: str) -> object:  # permissions do not bind everyone who runs the tests
        if os.fspath(place).endswith("locked"):
            raise PermissionError(13, "Permission denied", os.fspath(place))
        return scandir(place)

    monkeypatch.setattr(os, "scandir", refusing)
    assert refused(top) == [f"{top}/locked: it cannot be looked into (permission denied); make it readable"]
