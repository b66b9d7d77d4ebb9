"""Several jobs in one run: judged together, made in one pool, each with its own folder, ledger and end."""

from __future__ import annotations

import fcntl
import io
import json
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest

import pipeline.deliver.export
import pipeline.deliver.finish
import pipeline.deliver.workers
from pipeline.deliver.export import Asked, export, export_each, faults_of
from pipeline.deliver.side_by_side import worked_on
from pipeline.faults import RequestRefused
from pipeline.ledger.book import Ledger
from tests.small_shoot import FRAME, JOB, write_job

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pipeline.deliver.export import Came

JPEG_ALONE = '\n[targets."blog/step"]\nformats = ["jpeg"]\n'
NAMES = ("bread", "cake", "soup")


@pytest.fixture
def jobs(tmp_path: Path) -> list[Path]:
    """Return three jobs of two frames each."""
    made = []
    for name in NAMES:
        (tmp_path / name).mkdir()
        text = JOB.replace("Bean soup", name) + FRAME.replace("bowl", "board") + JPEG_ALONE
        made.append(write_job(tmp_path / name, text, ("bowl.jpg", "board.jpg")))
    return made


def asked(jobs: Iterable[Path], **changes: Any) -> list[Asked]:  # noqa: ANN401 (the fields of Asked)
    return [Asked(job, job.parent / "out", **{"workers": 1, "quiet": True, **changes}) for job in jobs]


def run(jobs: Iterable[Path], **changes: Any) -> dict[str, Came]:  # noqa: ANN401 (as above)
    return {came.asked.job.parent.name: came for came in export_each(asked(jobs, **changes), io.StringIO())}


def digests(out: Path) -> dict[str, str]:
    """Return path and digest of everything that a folder's manifest says was delivered."""
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    return {file["path"]: file["sha256"] for one in manifest["renditions"] for file in one["files"]}


def refused(jobs: Iterable[Path], **changes: Any) -> list[str]:  # noqa: ANN401 (as above)
    with pytest.raises(RequestRefused) as caught:
        run(jobs, **changes)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize("workers", [1, 2])
def test_each_shoot_comes_out_as_if_it_had_been_exported_alone(jobs: list[Path], workers: int) -> None:
    together = run(jobs, workers=workers)
    assert list(together) == list(dict.fromkeys(together)), "each once"
    assert set(together) == set(NAMES)
    for job in jobs:
        alone = export(Asked(job, job.parent / "alone", workers=1, quiet=True), io.StringIO())
        came = together[job.parent.name].summary
        assert came is not None
        assert (alone.rendered, alone.faults) == (came.rendered, came.faults)
        for name in ("manifest.json", "sheet/index.html", "web/index.html"):
            assert (job.parent / "alone" / name).read_bytes() == (job.parent / "out" / name).read_bytes(), name
        assert digests(job.parent / "out") == digests(job.parent / "alone")
    again = run(jobs)
    assert [(came.summary.rendered, came.summary.kept) for came in again.values() if came.summary] == [(0, 8)] * 3


def test_all_frames_go_through_one_pool(jobs: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    pools: list[int] = []

    def counting(tasks: Any, *how: Any) -> Any:  # noqa: ANN401 (handed on as it is)
        pools.append(len(tasks))
        return worked_on(tasks, *how)

    monkeypatch.setattr(pipeline.deliver.workers, "worked_on", counting)
    run(jobs)
    assert sorted(pools) == [0, 6]  # rewritten only, and rendered


def test_one_progress_tells_of_all_and_of_which_shoot_a_frame_is(jobs: list[Path]) -> None:
    stream = io.StringIO()
    list(export_each(asked(jobs, quiet=False), stream))
    lines = stream.getvalue().splitlines()
    assert lines[0] == "1 of 6 frames, 4 of 24 files: bread / bowl.jpg"
    assert lines[-1].startswith("6 of 6 frames, 24 of 24 files: soup / ")
    assert len(lines) == 6


def test_the_faults_of_all_jobs_are_told_at_once_and_nothing_is_written(jobs: list[Path]) -> None:
    for job in jobs[1:]:
        job.write_text(job.read_text(encoding="utf-8").replace("subject", "sujet"), encoding="utf-8")
    told = refused(jobs)
    assert [line.partition(": frames")[0] for line in told] == [
        str(jobs[1]), str(jobs[1]), str(jobs[1]), str(jobs[1]), str(jobs[2]), str(jobs[2]), str(jobs[2]), str(jobs[2]),
    ]  # fmt: skip
    assert not any((job.parent / "out").exists() for job in jobs)


def test_a_folder_that_cannot_be_made_leaves_no_other_behind(jobs: list[Path]) -> None:
    (jobs[2].parent / "out").write_text("a file of hers")
    (told,) = refused(jobs)
    assert told.startswith(f"{jobs[2].parent}/out: {jobs[2].parent}/out is no folder; ")
    assert not any((job.parent / "out").exists() for job in jobs[:2])


def test_two_jobs_with_one_output_folder_are_refused(jobs: list[Path]) -> None:
    other = jobs[0].with_name("second.toml")
    other.write_text(JOB, encoding="utf-8")
    assert refused([*jobs, other]) == [
        (
            f"{other}: its output folder {jobs[0].parent}/out is also that of {jobs[0]}; "
            "give each job a folder of its own, or export them one by one, each with an --out of its own"
        )
    ]


def test_a_folder_where_another_run_is_at_work_costs_its_own_shoot_alone(jobs: list[Path]) -> None:
    out = jobs[0].parent / "out"
    out.mkdir()
    with (out / ".exporting").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        came = run(jobs)
    assert [str(fault) for fault in faults_of(came["bread"])] == [
        f"{out}: another export is at work in this folder; wait for it, or name another folder with --out"
    ]
    assert [faults_of(came[name]) for name in NAMES[1:]] == [(), ()]
    assert [(job.parent / "out" / "manifest.json").exists() for job in jobs] == [False, True, True]


@pytest.mark.parametrize("step", ["prepare", "record", "finish"])
def test_what_stops_one_shoot_does_not_stop_the_others(
    jobs: list[Path], monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    out = jobs[1].parent / "out"

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device", str(out / "file"))

    if step == "record":
        keep = Ledger.record

        def record(ledger: Ledger, made: Any) -> None:  # noqa: ANN401 (handed on as it is)
            if ledger.folder == out:
                full()
            keep(ledger, made)

        monkeypatch.setattr(Ledger, "record", record)
    else:
        room = pipeline.deliver.finish if step == "finish" else pipeline.deliver.export
        whole = getattr(room, step)

        def stepping(one: Any, ledger: Ledger) -> Any:  # noqa: ANN401 (as above)
            if one.asked.out == out:
                full()
            return whole(one, ledger)

        monkeypatch.setattr(room, step, stepping)
    came = run(jobs)
    assert [str(fault) for fault in faults_of(came["cake"])] == [
        (
            f"{out}/file: the run stopped here (no space left on device); "
            "mend that and run it again: what was finished is kept"
        )
    ]
    assert [faults_of(came[name]) for name in ("bread", "soup")] == [(), ()]
    assert [(job.parent / "out" / "manifest.json").exists() for job in jobs] == [True, False, True]
    monkeypatch.undo()
    again = run(jobs)
    assert [faults_of(one) for one in again.values()] == [(), (), ()]


def test_where_nothing_can_go_on_no_further_frame_is_begun(jobs: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    def full(ledger: Ledger, _: object) -> None:
        raise OSError(28, "No space left on device", str(ledger.folder))

    monkeypatch.setattr(Ledger, "record", full)
    came = run(jobs)
    assert all(faults_of(one) for one in came.values())
    made = [len(list((job.parent / "out" / "blog").glob("*.jpg"))) for job in jobs]
    assert made[-1] < max(made), "its second frame was still waiting"


def test_a_shoot_is_whole_and_free_as_soon_as_its_last_frame_is_done(jobs: list[Path]) -> None:
    with closing(export_each(asked(jobs), io.StringIO())) as coming:  # type: ignore[type-var]
        first = next(coming)
        out = first.asked.out
        assert first.asked.job == jobs[0]
        assert (out / "manifest.json").is_file()
        assert not (jobs[2].parent / "out" / "manifest.json").exists()
        with (out / ".exporting").open() as lock:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)


def test_more_shoots_than_are_at_work_together(jobs: list[Path], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.deliver.export, "AT_ONCE", 2)
    stream = io.StringIO()
    came = list(export_each(asked(jobs, quiet=False), stream))
    assert [(one.asked.job, faults_of(one)) for one in came] == [(job, ()) for job in jobs]
    assert stream.getvalue().splitlines()[-1].startswith("6 of 6 frames, 24 of 24 files: soup / ")


def test_a_job_that_is_spoiled_while_others_are_at_work_is_told(
    jobs: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline.deliver.export, "AT_ONCE", 2)
    coming = export_each(asked(jobs), io.StringIO())
    next(coming)
    jobs[2].write_text("[shoot", encoding="utf-8")
    *_, last = coming
    assert last.summary is None
    assert "it ends in the middle of a value" in str(faults_of(last)[0])


def test_only_leaves_the_jobs_alone_in_which_nothing_matches(jobs: list[Path]) -> None:
    jobs[1].write_text(jobs[1].read_text(encoding="utf-8").replace("board", "plate"), encoding="utf-8")
    (jobs[1].parent / "board.jpg").rename(jobs[1].parent / "plate.jpg")
    came = run(jobs, only="plate/*")
    assert {name: one.summary is not None for name, one in came.items()} == {
        "bread": False,
        "cake": True,
        "soup": False,
    }
    assert not any(faults_of(one) for one in came.values())
    assert [(job.parent / "out").exists() for job in jobs] == [False, True, False]
    told = refused(jobs, only="pan/*")
    assert [line.partition(": nothing in this job matches 'pan/*'; ")[0] for line in told] == [
        f"{job}: --only" for job in jobs
    ]


def test_rename_and_approved_hold_for_each_job(jobs: list[Path]) -> None:
    run(jobs)
    for job in jobs:
        job.write_text(job.read_text(encoding="utf-8").replace('title = "', 'title = "new '), encoding="utf-8")
    came = run(jobs, rename=True)
    for name, one in came.items():
        assert one.summary is not None
        assert all(new.startswith(f"blog/new-{name}-") for _, new in one.summary.renamed)
        assert one.summary.renamed
    waiting = run(jobs, approved=True)
    assert all(one.summary and any(each.waits for each in one.summary.plan.renditions) for one in waiting.values())
