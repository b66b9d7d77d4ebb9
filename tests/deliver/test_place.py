"""The output folder: nothing of hers in it is written over, emptied or swept away."""

from __future__ import annotations

import io
import os
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.export import Asked, export
from pipeline.faults import RequestRefused
from tests.small_shoot import FRAME, HEAD, frame, write_job

if TYPE_CHECKING:
    from pathlib import Path


def run(job: Path, out: Path) -> None:
    export(Asked(job, out, workers=1, quiet=True), io.StringIO())


def refused(job: Path, out: Path) -> list[str]:
    with pytest.raises(RequestRefused) as caught:
        run(job, out)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize(
    "name",
    [
        "manifest.json",
        "sheet/index.html",
        "web/bowl.jpg",
        "ledger.sqlite",
        ".exporting",
        ".unfinished-12-a.jpg",
        "set-aside/a.jpg",
    ],
)
def test_a_frame_under_a_name_of_ours_is_refused_and_kept(tmp_path: Path, name: str) -> None:
    (tmp_path / name).parent.mkdir(exist_ok=True)
    path = frame(tmp_path / "bowl.jpg").rename(tmp_path / name)
    before = path.read_bytes()
    job = write_job(tmp_path, HEAD + FRAME.replace('"bowl.jpg"', f'"{name}"\nslug = "bowl"'))
    (said,) = refused(job, tmp_path)
    assert f"this file would be written over by {name}; name another --out" in said
    assert before == path.read_bytes()


def test_the_table_of_captions_is_not_written_over_by_ours(tmp_path: Path) -> None:
    (tmp_path / "web").mkdir()
    table = tmp_path / "web" / "captions.csv"
    table.write_text("file,alt\nbowl.jpg,My own words\n", encoding="utf-8")
    job = write_job(tmp_path, 'captions = "web/captions.csv"\n' + HEAD + FRAME.replace('alt = "A bowl of soup"\n', ""))
    (said,) = refused(job, tmp_path)
    assert "this file would be written over by web/captions.csv" in said
    assert "My own words" in table.read_text(encoding="utf-8")


def test_the_job_file_is_not_written_over(tmp_path: Path) -> None:
    job = write_job(tmp_path).rename(tmp_path / "manifest.json")
    text = job.read_bytes()
    (said,) = refused(job, tmp_path)
    assert "manifest.json: this file would be written over by manifest.json" in said
    assert text == job.read_bytes()


@pytest.mark.parametrize("name", ["manifest.json", "sheet/index.html", "web/index.html"])
def test_a_file_that_was_there_before_us_stays(tmp_path: Path, name: str) -> None:
    theirs = tmp_path / "site" / name
    theirs.parent.mkdir(parents=True)
    theirs.write_text("mine", encoding="utf-8")
    (said,) = refused(write_job(tmp_path), tmp_path / "site")
    assert said == f"{tmp_path}/site/{name}: this file was not made by plateline; name another folder with --out"
    assert theirs.read_text(encoding="utf-8") == "mine"


def test_a_folder_whose_ledger_was_lost_is_still_ours(tmp_path: Path) -> None:
    job, out = write_job(tmp_path), tmp_path / "out"
    run(job, out)
    for part in out.glob("ledger.sqlite*"):
        part.unlink()
    run(job, out)
    assert (out / "manifest.json").is_file()


@pytest.mark.parametrize("name", ["sheet", "web", "ledger.sqlite", ".exporting", "manifest.json"])
def test_links_in_our_places_are_not_followed(tmp_path: Path, name: str) -> None:
    job, out, elsewhere = write_job(tmp_path), tmp_path / "out", tmp_path / "elsewhere"
    out.mkdir()
    elsewhere.mkdir()
    target = elsewhere if name in {"sheet", "web"} else tmp_path / "bowl.jpg"
    before = (tmp_path / "bowl.jpg").read_bytes()
    (out / name).symlink_to(target)
    (said,) = refused(job, out)
    assert said.startswith(f"{out}/{name}: this is a link, which would lead out of the folder")
    assert list(elsewhere.iterdir()) == []
    assert before == (tmp_path / "bowl.jpg").read_bytes()


def test_a_lock_that_is_another_name_of_a_frame_is_not_emptied(tmp_path: Path) -> None:
    job, out = write_job(tmp_path), tmp_path / "out"
    out.mkdir()
    before = (tmp_path / "bowl.jpg").read_bytes()
    os.link(tmp_path / "bowl.jpg", out / ".exporting")
    run(job, out)
    assert before == (tmp_path / "bowl.jpg").read_bytes()


def test_the_path_of_a_frame_is_in_no_file_that_leaves(tmp_path: Path) -> None:
    job, out = write_job(tmp_path, HEAD + FRAME.replace('"bowl.jpg"', f'"{tmp_path}/bowl.jpg"')), tmp_path / "out"
    run(job, out)
    found = [
        str(path.relative_to(out))
        for path in out.rglob("*")
        if path.is_file() and str(tmp_path).encode() in path.read_bytes()
    ]
    assert found == []
