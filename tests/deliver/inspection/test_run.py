"""`inspect`: every frame looked at once and kept; what is sure is written into the job where the job asks for it."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.inspection.worker import FrameTask, lost
from pipeline.deliver.survey import survey
from pipeline.faults import RequestRefused
from pipeline.frames.inspection.told import Told
from pipeline.job.kept_names import LOCK
from pipeline.job.read import read_job
from pipeline.ledger.book import FILE
from pipeline.light.thresholds import house_thresholds
from tests.deliver.inspection.shoot import AUTO, FOUND, LEANS, SEEN, auto_shoot, picture, remember, run
from tests.frames.inspection.subjects import composite
from tests.small_shoot import FRAME, HEAD, header_of, write_job

if TYPE_CHECKING:
    from pipeline.deliver.inspection.run import Report

TWO = HEAD + FRAME + FRAME.replace("bowl.jpg", "bread.jpg")


def two(folder: Path) -> Path:
    picture(folder / "bowl.jpg", 3)
    picture(folder / "bread.jpg", 4)
    return write_job(folder, TWO, ("bowl.jpg", "bread.jpg"))


@pytest.fixture
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Look at no pixel: these tests are about what is kept and known."""
    monkeypatch.setattr("pipeline.deliver.inspection.run.look_at", lambda _: SEEN)


def slugs(report: Report) -> list[str]:
    return [frame.slug for frame, _ in report.seen]


def test_each_frame_is_looked_at_once_and_known_from_then_on(tmp_path: Path) -> None:
    job = two(tmp_path)
    first, on_the_way = run(job)
    assert slugs(first) == ["bowl", "bread"]
    assert on_the_way.count("\n") == 2
    second, on_the_way = run(job)
    assert (second.seen, second.faults, on_the_way) == (first.seen, (), "")
    assert survey(job).knowing(tmp_path / "out").inspected == {frame.slug: seen for frame, seen in first.seen}


@pytest.mark.usefixtures("_quick")
def test_the_same_content_under_another_name_is_known(tmp_path: Path) -> None:
    job = two(tmp_path)
    first, _ = run(job)
    (tmp_path / "bread.jpg").rename(tmp_path / "loaf.jpg")
    job.write_text(TWO.replace("bread.jpg", "loaf.jpg"), encoding="utf-8")
    second, on_the_way = run(job)
    assert ([seen for _, seen in second.seen], on_the_way) == ([seen for _, seen in first.seen], "")


@pytest.mark.usefixtures("_quick")
@pytest.mark.parametrize(
    ("old", "new"),
    [
        (FRAME, FRAME + "tripod = true\n"),
        (FRAME, FRAME + 'view = "overhead"\n'),
        (FRAME, FRAME + "action = true\n"),
        (FRAME, FRAME + "keep = [0.2, 0.2, 0.8, 0.8]\n"),
        ("[0.5, 0.5]", "[0.5, 0.6]"),
    ],
)
def test_a_frame_of_which_the_job_says_something_else_is_looked_at_again(tmp_path: Path, old: str, new: str) -> None:
    job = two(tmp_path)
    run(job)
    job.write_text(TWO.replace(old, new, 1), encoding="utf-8")
    assert run(job)[1] == "1 of 1 frames: bowl.jpg\n"


@pytest.mark.usefixtures("_quick")
def test_a_tripod_of_the_whole_shoot_is_one_of_each_frame(tmp_path: Path) -> None:
    job = two(tmp_path)
    job.write_text(TWO + "tripod = true\n", encoding="utf-8")
    run(job)
    job.write_text(TWO.replace("[shoot]", "[shoot]\ntripod = true"), encoding="utf-8")
    assert run(job)[1] == "1 of 1 frames: bowl.jpg\n"
    job.write_text(TWO.replace("[shoot]", "[shoot]\ntripod = true") + "tripod = false\n", encoding="utf-8")
    assert run(job)[1] == "1 of 1 frames: bread.jpg\n"


@pytest.mark.usefixtures("_quick")
def test_another_threshold_looks_at_all_again_and_the_old_one_is_still_known(tmp_path: Path) -> None:
    job = two(tmp_path)
    run(job)
    job.write_text(TWO + "[inspection]\nsure_subject = 0.9\n", encoding="utf-8")
    assert run(job)[1].count("\n") == 2
    job.write_text(TWO, encoding="utf-8")
    assert run(job)[1] == ""


@pytest.mark.usefixtures("_quick")
def test_another_picture_under_the_same_name_is_looked_at(tmp_path: Path) -> None:
    job = two(tmp_path)
    run(job)
    picture(tmp_path / "bread.jpg", 5)
    assert run(job)[1] == "1 of 1 frames: bread.jpg\n"


def test_workers_find_the_same_as_one_alone(tmp_path: Path) -> None:
    job = two(tmp_path)
    alone, _ = run(job)
    side_by_side, _ = run(job, workers=2, out=tmp_path / "other")
    assert alone.seen == side_by_side.seen


def test_a_frame_that_cannot_be_read_is_told_and_the_others_are_looked_at(tmp_path: Path) -> None:
    job = two(tmp_path)
    whole = (tmp_path / "bowl.jpg").read_bytes()
    (tmp_path / "bowl.jpg").write_bytes(whole[: len(whole) // 2])
    report, _ = run(job)
    assert slugs(report) == ["bread"]
    assert [str(fault).partition(";")[0] for fault in report.faults] == [
        "bowl.jpg: is cut short: part of the picture is missing"
    ]


@pytest.mark.usefixtures("_quick")
def test_nothing_but_the_ledger_is_written(tmp_path: Path) -> None:
    job = two(tmp_path)
    before = {path: path.read_bytes() for path in tmp_path.iterdir()}
    run(job)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {FILE, LOCK}
    assert before == {path: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}


def test_a_folder_of_somebody_elses_is_left_alone(tmp_path: Path) -> None:
    job = two(tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "manifest.json").write_text("{}", encoding="utf-8")
    with pytest.raises(RequestRefused, match="this file was not made by plateline"):
        run(job)
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["manifest.json"]


def test_a_frame_is_never_written_over_by_the_ledger(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    picture(tmp_path / "out" / "bowl.jpg").rename(tmp_path / "out" / FILE)
    job = write_job(tmp_path, HEAD + FRAME.replace("bowl.jpg", f"out/{FILE}"), ())
    with pytest.raises(RequestRefused, match="this file would be written over by"):
        run(job)


# --- what is accepted -----------------------------------------------------------------------------------------------


def test_what_was_found_is_written_where_the_job_says_auto_and_nowhere_else(tmp_path: Path) -> None:
    picture(tmp_path / "bread.jpg", 4)
    text = AUTO + FRAME.replace("bowl.jpg", "bread.jpg")
    job = auto_shoot(tmp_path, text)
    report, _ = run(job, accept=True)
    found = report.accepted[1]
    assert list(report.accepted) == [1]
    assert found.keep
    values = found.values
    written = text.replace('"auto"', str(values["subject"])).replace(
        "# on the food\n", f"# on the food\nkeep = {values['keep']}\n"
    )
    assert job.read_text(encoding="utf-8") == written
    box = composite(3).box
    assert box.left <= found.subject.x <= box.right
    assert box.top <= found.subject.y <= box.bottom


def test_what_was_accepted_is_known_as_if_it_had_always_been_written(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    first, _ = run(job, accept=True)
    assert "auto" not in job.read_text(encoding="utf-8")
    second, on_the_way = run(job)
    assert ([seen for _, seen in second.seen], on_the_way) == ([seen for _, seen in first.seen], "")


def test_her_own_keep_box_and_turn_stay(tmp_path: Path) -> None:
    text = f"{AUTO}keep = [0.0, 0.0, 1.0, 1.0]\nturn_deg = 0.5\n"
    job = auto_shoot(tmp_path, text)
    remember(job, {"bowl": type(SEEN)((), (LEANS,), FOUND, -1.9)})
    report, _ = run(job, accept=True)
    assert report.accepted[1].values == {"subject": [0.3, 0.7]}
    assert job.read_text(encoding="utf-8") == text.replace('"auto"', "[0.3, 0.7]")


def test_the_turn_is_written_where_the_frame_leans_for_sure(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    remember(job, {"bowl": type(SEEN)((), (LEANS,), FOUND, -1.9)})
    run(job, accept=True)
    assert read_job(job).frames[0].entry.turn_deg == -1.9
    survey(job).knowing(tmp_path / "out").plan({})


@pytest.mark.parametrize("turn_deg", [None, -1.9])
def test_where_nothing_is_sure_nothing_is_written(tmp_path: Path, turn_deg: float | None) -> None:
    job = auto_shoot(tmp_path)
    remember(job, {"bowl": type(SEEN)((), (), None, turn_deg)})
    before = job.stat()
    assert run(job, accept=True)[0].accepted == {}
    assert (before.st_ino, before.st_mtime_ns) == (job.stat().st_ino, job.stat().st_mtime_ns)


@pytest.mark.usefixtures("_quick")
def test_the_job_keeps_its_permissions_and_a_link_to_it_stays_a_link(tmp_path: Path) -> None:
    elsewhere = auto_shoot(tmp_path).rename(tmp_path / "real.toml")
    elsewhere.chmod(0o640)
    (tmp_path / "job.toml").symlink_to("real.toml")
    run(tmp_path / "job.toml", accept=True)
    assert (tmp_path / "job.toml").is_symlink()
    assert stat.S_IMODE(elsewhere.stat().st_mode) == 0o640
    assert read_job(elsewhere).frames[0].to_find is False


def test_a_job_that_was_changed_meanwhile_is_not_written_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = auto_shoot(tmp_path)
    monkeypatch.setattr("pipeline.deliver.inspection.run.with_found", lambda *_: job.write_text("hers") and b"ours")
    report, _ = run(job, accept=True)
    assert [fault.found for fault in report.faults] == ["it was changed while its frames were looked at"]
    assert (report.accepted, job.read_text(encoding="utf-8")) == ({}, "hers")


def test_what_cannot_be_written_is_given_to_be_written_by_hand(tmp_path: Path) -> None:
    head = HEAD.replace("[shoot]", 'frames = [{ file = "bowl.jpg", subject = "auto" }]\n[shoot]')
    job = auto_shoot(tmp_path, head)
    remember(job, {"bowl": SEEN})
    report, _ = run(job, accept=True)
    assert [fault.wanted for fault in report.faults] == [
        "write it there yourself: subject = [0.3, 0.7], keep = [0.2, 0.5, 0.45, 0.9]"
    ]
    assert job.read_text(encoding="utf-8") == head


@pytest.mark.usefixtures("_quick")
def test_a_file_of_a_full_disk_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    job = auto_shoot(tmp_path)
    run(job)
    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left"):
        run(job, accept=True)
    assert job.read_text(encoding="utf-8") == AUTO
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bowl.jpg", "job.toml", "out"]


def test_a_worker_that_was_stopped_costs_its_frame_alone() -> None:
    fault = lost(FrameTask("bowl", header_of(Path("bowl.jpg"), (60, 40)), "bowl.jpg", Told(), house_thresholds()))
    assert str(fault) == "bowl.jpg: the worker looking at it was stopped; run inspect again; give it fewer --workers"
