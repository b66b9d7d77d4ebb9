"""What a job draws on: every file that counts, whatever else is wrong with the job."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.drawn_on import DrawnOn, drawn_on
from tests.small_shoot import FRAME, HEAD, write_job

if TYPE_CHECKING:
    from pathlib import Path

ALL = 'captions = "words/captions.csv"\nprofiles_folder = "mine"\n' + HEAD + '[icc_profiles]\npress = "p.icc"\n' + FRAME


def names(drawn: DrawnOn | None, top: Path) -> set[str]:
    assert drawn is not None
    return {os.path.relpath(name, top) for name in drawn.stamps()}


def test_all_that_a_job_names_counts_also_where_it_is_not_there_yet(tmp_path: Path) -> None:
    drawn = drawn_on(write_job(tmp_path, ALL, ()))
    sidecars = {"bowl.jpg.xmp", "bowl.jpg.XMP", "bowl.xmp", "bowl.XMP"}
    assert names(drawn, tmp_path) == {"job.toml", "words/captions.csv", "p.icc", "bowl.jpg", *sidecars}


def test_outlet_profiles_and_replies_count_by_their_endings_and_what_an_editor_leaves_does_not(tmp_path: Path) -> None:
    job = write_job(tmp_path, ALL, ())
    before = names(drawn_on(job), tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "replies").mkdir()
    for name in ("stall.toml", "stall.toml~", ".stall.toml.swp", ".stall.toml", "4913", "notes.txt"):
        (tmp_path / "mine" / name).touch()
    for name in ("one.json", ".unfinished-12-one.json", "one.txt"):
        (tmp_path / "replies" / name).touch()
    assert names(drawn_on(job), tmp_path) - before == {"mine/stall.toml", "replies/one.json"}


@pytest.mark.parametrize(
    "text",
    [
        "frames = 3\ncaptions = []\nprofiles_folder = 2026-01-01\nicc_profiles = 1",
        "frames = [1, [], {}, {file = 7}]\ncaptions = ''\nprofiles_folder = '/'",
        'frames = [{file = "a\\u0000b"}]\ncaptions = "\\u0000"',
        'frames = [{file = "/"}]',
    ],
)
def test_what_makes_no_sense_counts_for_nothing(tmp_path: Path, text: str) -> None:
    assert names(drawn_on(write_job(tmp_path, text, ())), tmp_path) == {"job.toml"}


@pytest.mark.parametrize("text", ["[shoot", "\ufeff= 1"])
def test_of_a_file_that_is_no_toml_nothing_is_known(tmp_path: Path, text: str) -> None:
    assert drawn_on(write_job(tmp_path, text, ())) is None
    assert drawn_on(tmp_path / "absent.toml") is None


def test_a_change_shows_in_the_folder_of_a_file_in_that_of_its_link_and_above_one_that_is_to_come(
    tmp_path: Path,
) -> None:
    (tmp_path / "shoot").mkdir()
    job = write_job(tmp_path / "shoot", ALL, ())
    card = tmp_path / "card"
    card.mkdir()
    (card / "IMG_1.jpg").touch()
    (job.parent / "bowl.jpg").symlink_to(card / "IMG_1.jpg")
    drawn = drawn_on(job)
    assert drawn is not None
    assert drawn.folders() == {str(job.parent), str(card)}
    (job.parent / "words").mkdir()
    assert drawn.folders() == {str(job.parent), str(card), str(job.parent / "words")}


@pytest.mark.parametrize("how", ["written", "renamed over", "removed", "made"])
def test_every_way_to_change_a_file_shows(tmp_path: Path, how: str) -> None:
    job = write_job(tmp_path, ALL)
    drawn = drawn_on(job)
    assert drawn is not None
    frame, table = tmp_path / "bowl.jpg", tmp_path / "words" / "captions.csv"
    before = drawn.stamps()
    assert before == drawn.stamps()
    if how == "written":
        frame.write_bytes(frame.read_bytes() + b"x")
    elif how == "renamed over":
        (tmp_path / "new").write_bytes(frame.read_bytes())
        os.utime(tmp_path / "new", ns=(frame.stat().st_atime_ns, frame.stat().st_mtime_ns))
        (tmp_path / "new").replace(frame)
    elif how == "removed":
        frame.unlink()
    else:
        table.parent.mkdir()
        table.touch()
    changed = {name for name, stamp in drawn.stamps().items() if before[name] != stamp}
    assert changed == {str(table if how == "made" else frame)}
