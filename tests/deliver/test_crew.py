"""Workers begun ahead: when there are any, that the pool takes them, and that none is left behind by anybody."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver import crew as crew_module
from pipeline.deliver.crew import Crew, begun_ahead
from pipeline.deliver.side_by_side import Room, Way, worked_on
from pipeline.deliver.worker import Worker, begin_worker
from pipeline.job.kept_names import LEDGER, LOCK
from tests.processes import workers_of
from tests.small_shoot import HEAD, asked, own_target, write_job

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


FRAMES = ("bowl.jpg", "bread.jpg", "plum.jpg")
ALL_FRAMES = "".join(asked(name, alt="What is on the table", targets=["feed/small"]) for name in FRAMES)
SMALL = HEAD + '\n[targets."feed/small"]' + own_target()


@dataclass(frozen=True, slots=True)
class Task:
    number: int


def work(task: Task) -> tuple[int, int]:
    time.sleep(0.05)
    return task.number, os.getpid()


def lost(task: Task) -> tuple[int, int]:
    return task.number, 0


WAY: Way[Task, tuple[int, int]] = Way(work, lost)


def die() -> Iterator[None]:
    """End the process, as the system does where memory is short."""
    os.kill(os.getpid(), signal.SIGKILL)
    yield


def nothing() -> Iterator[None]:
    yield from ()


def want_memory() -> Iterator[None]:
    yield
    raise MemoryError


@pytest.fixture
def crew() -> Iterator[Crew[Task]]:
    """Yield a crew of two that make nothing ready."""
    begun: list[Worker[Task] | None] = [begin_worker(), begin_worker()]
    with Crew([one for one in begun if one]) as made:
        yield made
    assert not [one for one in begun if one and one.alive]


def numbers(crew: Crew[Task]) -> set[int]:
    return {worker.number for worker in crew.begun()}


def job_of(folder: Path, text: str = SMALL + ALL_FRAMES) -> Path:
    return write_job(folder, text, FRAMES)


def workers_of_ours() -> set[int]:
    return {process.pid or 0 for process in multiprocessing.active_children()}


def test_the_pool_takes_those_that_were_begun_and_ends_them(crew: Crew[Task]) -> None:
    begun = numbers(crew)
    done = list(worked_on([Task(number) for number in range(8)], 2, WAY, crew))
    assert sorted(number for _, (number, _) in done) == list(range(8))
    assert {process for _, (_, process) in done} == begun
    assert begun & workers_of_ours() == set()


def test_one_that_died_ahead_of_time_is_replaced(crew: Crew[Task]) -> None:
    first, second = crew.begun()
    os.kill(first.number, signal.SIGKILL)
    first.process.join()
    done = list(worked_on([Task(number) for number in range(8)], 2, WAY, crew))
    assert sorted(number for _, (number, _) in done) == list(range(8))
    processes = {process for _, (_, process) in done}
    assert len(processes) == 2
    assert second.number in processes
    assert first.number not in processes


def test_one_that_dies_after_it_was_taken_costs_no_task_anything() -> None:
    """It ends while it makes itself ready: with luck before it is taken, else with a task in hand."""
    begun: Worker[Task] | None = begin_worker(die)
    assert begun
    with Crew([begun]) as crew:
        done = list(worked_on([Task(number) for number in range(4)], 2, WAY, crew))
    assert sorted(number for _, (number, _) in done) == list(range(4))
    assert all(process for _, (_, process) in done), "none is lost"


def test_one_that_cannot_make_itself_ready_works_all_the_same(capfd: pytest.CaptureFixture[str]) -> None:
    begun: Worker[Task] | None = begin_worker(want_memory)
    assert begun
    begun.process.join(1)
    with Crew([begun]) as crew:
        done = list(worked_on([Task(number) for number in range(4)], 2, WAY, crew))
    assert begun.number in {process for _, (_, process) in done}
    assert capfd.readouterr() == ("", "")


def test_where_few_files_may_be_open_nobody_is_shown_how_a_fork_failed(tmp_path: Path) -> None:
    job = job_of(tmp_path)
    words = f"ulimit -n 14; exec {sys.executable} -m pipeline export {job} --workers 2 --quiet"
    run = subprocess.run(["sh", "-c", words], capture_output=True, text=True, check=False)
    assert run.returncode in (0, 1)
    assert [word for word in ("Traceback", "Warning") if word in run.stderr] == []


def test_where_one_process_is_enough_one_is_taken_and_none_stays(crew: Crew[Task]) -> None:
    begun = numbers(crew)
    [(_, (_, process))] = worked_on([Task(0)], 2, WAY, crew)
    assert process in begun
    assert numbers(crew) == set()
    assert begun & workers_of_ours() == set()


def test_no_more_are_taken_than_there_is_room_for(crew: Crew[Task]) -> None:
    """Two idle ones of 10 and a task of 70 are more than 85; so one is ended, and the tasks follow each other."""
    begun = numbers(crew)
    way: Way[Task, tuple[int, int]] = Way(work, lost, room=Room(85, 10, lambda _: 70))
    done = list(worked_on([Task(number) for number in range(3)], 2, way, crew))
    assert len({process for _, (_, process) in done} & begun) == 1
    assert len({process for _, (_, process) in done}) == 1


def test_an_interrupt_ends_a_worker_as_little_before_it_is_ready_as_after(crew: Crew[Task]) -> None:
    for worker in crew.begun():
        os.kill(worker.number, signal.SIGINT)
    begun = numbers(crew)
    assert {process for _, (_, process) in worked_on([Task(0), Task(1), Task(2)], 2, WAY, crew)} == begun


@pytest.mark.parametrize(
    ("cores", "workers", "begun"), [(4, 1, 0), (4, 2, 2), (4, 3, 3), (4, 9, 3), (4, None, 3), (2, 9, 2), (1, 2, 0)]
)
def test_no_more_are_begun_than_there_are_frames_and_cores(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, cores: int, workers: int | None, begun: int
) -> None:
    monkeypatch.setattr(crew_module, "made_ready", nothing)
    monkeypatch.setattr(os, "cpu_count", lambda: cores)
    with begun_ahead([(job_of(tmp_path), tmp_path / "out")], workers) as crew:
        assert len(crew.begun()) == begun
    assert crew.begun() == []


def test_frames_of_several_shoots_count_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew_module, "made_ready", nothing)
    monkeypatch.setattr(os, "cpu_count", lambda: 4)
    one = SMALL + asked("bowl.jpg", alt="A bowl", targets=["feed/small"])
    shoots = [(write_job(tmp_path, one), tmp_path / "a"), (tmp_path / "job.toml", tmp_path / "b")]
    with begun_ahead(shoots, 4) as crew:
        assert len(crew.begun()) == 2
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / LOCK).touch()
    with begun_ahead(shoots, 4) as crew:
        assert crew.begun() == [], "it is no first export of all of them"


def test_memory_bounds_how_many_are_begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew_module, "memory_to_use", lambda: 300_000_000)
    with begun_ahead([(job_of(tmp_path), tmp_path / "out")], 3) as crew:
        assert crew.begun() == []


@pytest.mark.parametrize("there", [LOCK, LEDGER])
def test_none_is_begun_where_an_export_has_been(tmp_path: Path, there: str) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / there).touch()
    with begun_ahead([(job_of(tmp_path), tmp_path / "out")], 2) as crew:
        assert crew.begun() == []


@pytest.mark.parametrize(
    "data",
    [b"", b"frames = 3", b"frames = [1", b"\xff", b"frames = []", b"x = " + b"[" * 5000, b"x = 1" + b"0" * 5000],
    ids=["empty", "a number", "half a list", "no text", "none", "deep", "long"],
)
def test_none_is_begun_for_what_is_no_job(tmp_path: Path, data: bytes) -> None:
    job = tmp_path / "job.toml"
    job.write_bytes(data)
    with begun_ahead([(job, tmp_path / "out"), (tmp_path / "none.toml", tmp_path / "b")], 2) as crew:
        assert crew.begun() == []


def exported(job: Path, *words: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "pipeline", "export", str(job), "--workers", "2", *words]
    return subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)


def group_is_gone(group: int) -> bool:
    """Return whether no process of a group is left, after a moment in which the system clears up."""
    for _ in range(200):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.05)
    return False


def test_a_refused_job_leaves_no_process_and_says_what_it_said(tmp_path: Path) -> None:
    job = job_of(tmp_path, SMALL + ALL_FRAMES.replace("feed/small", "feed/smal"))
    with exported(job) as running:
        out, err = running.communicate()
    assert (running.returncode, out) == (2, "")
    assert err.splitlines()[-1] == "3 faults; nothing was written"
    assert [word for word in ("Traceback", "Warning", "resource_tracker") if word in err] == []
    assert group_is_gone(running.pid)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("whom", ["group", "parent"])
def test_an_interrupt_while_workers_load_ends_all_without_noise(tmp_path: Path, whom: str) -> None:
    """Python ends by the signal itself where it came in the middle of a text that is run, as dataclasses run some."""
    job = job_of(tmp_path)
    with exported(job) as running:
        while running.poll() is None and not workers_of(running.pid):
            time.sleep(0.002)
        (os.killpg if whom == "group" else os.kill)(running.pid, signal.SIGINT)
        out, err = running.communicate()
    assert running.returncode in (1, -signal.SIGINT)
    assert out == ""
    assert err.splitlines()[-1] == "stopped; what was finished is kept, the next run goes on from there"
    assert [word for word in ("Traceback", "Warning", "resource_tracker") if word in err] == []
    assert group_is_gone(running.pid)


def test_the_end_of_the_parent_is_the_end_of_workers_that_load(tmp_path: Path) -> None:
    with exported(job_of(tmp_path)) as running:
        while running.poll() is None and not workers_of(running.pid):
            time.sleep(0.002)
        running.kill()
        running.communicate()
    assert group_is_gone(running.pid)


@pytest.mark.parametrize(
    ("words", "begun"),
    [
        ([], 2),
        (["--rename"], 2),
        (["--only", "*/feed/*"], 0),
        (["--memory", "2 GB"], 0),
        (["--workers", "1"], 0),
    ],
)
def test_the_verb_begins_them_for_a_first_export_of_all_that_is_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], begun: int
) -> None:
    made: list[int] = []
    monkeypatch.setattr(os, "cpu_count", lambda: 2)

    def noted(shoots: list[tuple[Path, Path]], workers: int | None) -> Crew[Task]:
        crew = begun_ahead(shoots, workers)
        made.append(len(crew.begun()))
        return crew  # type: ignore[return-value] # it is one of frames

    monkeypatch.setattr(crew_module, "begun_ahead", noted)
    command = ["export", str(job_of(tmp_path)), "--workers", "2", "--quiet", *words]
    before = workers_of_ours()
    assert main(command) == 0
    assert made == [begun]
    assert workers_of_ours() - before == set()
    job_of(tmp_path, SMALL + ALL_FRAMES.replace("on the table", "on the plate"))
    assert main([*command, "--approved"]) == 0
    assert made[1:] == [0], "a second time most is there already"
