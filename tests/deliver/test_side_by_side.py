"""Workers: what they do side by side, what becomes of a task whose worker dies, and that none outlives its run."""

from __future__ import annotations

import itertools
import multiprocessing.forkserver
import os
import signal
import sys
import time
from dataclasses import dataclass
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING

import psutil
import pytest

from pipeline.deliver.side_by_side import Room, Way, worked, worked_on

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Task:
    """Something small to do. Where it deals death, it does so as long as fewer than `deaths` have left a mark."""

    number: int
    folder: Path
    deaths: int = 0
    by: str = "exit"
    need: int = 0


def work(task: Task) -> tuple[int, int]:
    """Return the task's number and the process that did it, or die on the way."""
    marks = list(task.folder.glob(f"{task.number}-*"))
    if len(marks) < task.deaths:
        (task.folder / f"{task.number}-{os.getpid()}").touch()
        if task.by == "exit":
            os._exit(1)
        os.kill(os.getpid(), signal.SIGKILL)  # as the system does where memory is short
    return task.number, os.getpid()


def fail(task: Task) -> tuple[int, int]:
    raise ValueError(f"task {task.number} is impossible")


def wait_for_ever(task: Task) -> tuple[int, int]:
    if task.number:
        time.sleep(600)
    return task.number, os.getpid()


def overlap(task: Task) -> tuple[int, int]:
    """Note when it begins and ends, in a file that all processes add to."""
    note = os.open(task.folder / "log", os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    os.write(note, f"+{task.need}\n".encode())
    time.sleep(0.1)
    os.write(note, f"-{task.need}\n".encode())
    os.close(note)
    return task.number, os.getpid()


def lost(task: Task) -> tuple[int, int]:
    return task.number, 0


def alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_every_task_is_done_once(tmp_path: Path, workers: int) -> None:
    tasks = [Task(number, tmp_path) for number in range(7)]
    done = list(worked(tasks, workers, work, lost))
    assert sorted(task.number for task, _ in done) == list(range(7))
    assert all(task.number == number for task, (number, _) in done)
    processes = {process for _, (_, process) in done}
    assert (os.getpid() in processes) == (workers == 1)
    assert len(processes) <= workers
    assert [process for process in processes - {os.getpid()} if alive(process)] == []


@pytest.mark.parametrize("deaths", [0, 1])
def test_no_worker_holds_memory_while_what_comes_after_the_last_task_is_done(tmp_path: Path, deaths: int) -> None:
    tasks = [Task(number, tmp_path, deaths if number == 4 else 0) for number in range(5)]
    results = worked(tasks, 2, work, lost)  # held: a generator that is let go ends its workers anyhow
    processes = {process for _, (_, process) in itertools.islice(results, 5)}
    assert [process for process in processes if alive(process)] == []


@pytest.mark.parametrize("by", ["exit", "kill"])
def test_a_worker_that_dies_once_costs_nothing(tmp_path: Path, by: str) -> None:
    tasks = [Task(number, tmp_path, deaths=int(number in {0, 3}), by=by) for number in range(6)]
    left: list[tuple[int, int]] = []
    way = Way(work, lost, lambda task, process: left.append((task.number, process)))
    done = [(number, process) for _, (number, process) in worked_on(tasks, 2, way)]
    assert sorted(number for number, _ in done) == list(range(6))
    assert all(done_by for _, done_by in done), "none is lost"
    assert {number for number, _ in done[-2:]} == {0, 3}, "what a worker died of is tried again when all else is done"
    marks = {tuple(map(int, mark.name.split("-"))) for mark in tmp_path.iterdir()}
    assert marks == set(left), "it is said whose leavings are to be cleared up"


def test_a_task_that_kills_every_worker_is_lost_and_the_others_are_not(tmp_path: Path) -> None:
    tasks = [Task(number, tmp_path, deaths=99 if number in {1, 2} else 0, by="kill") for number in range(5)]
    done = dict(answer for _, answer in worked(tasks, 2, work, lost))
    assert sorted(done) == list(range(5))
    assert {number for number, process in done.items() if not process} == {1, 2}
    assert len(list(tmp_path.iterdir())) == 4, "each was tried twice"


@pytest.mark.parametrize("workers", [1, 2])
def test_what_work_raises_is_raised_here(tmp_path: Path, workers: int) -> None:
    with pytest.raises(ValueError, match=r"^task \d is impossible$"):
        list(worked([Task(0, tmp_path), Task(1, tmp_path)], workers, fail, lost))


def test_a_run_that_is_left_ends_its_workers_in_the_middle_of_their_tasks(tmp_path: Path) -> None:
    left: list[tuple[int, int]] = []
    way = Way(wait_for_ever, lost, lambda task, process: left.append((task.number, process)))
    running = worked_on([Task(number, tmp_path) for number in range(4)], 2, way)
    began = time.monotonic()
    assert next(running)[1][0] == 0
    running.close()
    assert time.monotonic() - began < 300, "nobody waited for the tasks"
    assert {number for number, _ in left} == {1, 2}
    assert [process for _, process in left if alive(process)] == []


def test_where_no_process_can_be_had_the_work_is_done_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: BaseProcess) -> None:
        raise OSError(11, "Resource temporarily unavailable")

    monkeypatch.setattr(BaseProcess, "start", refuse)
    done = list(worked([Task(number, tmp_path) for number in range(3)], 2, work, lost))
    assert [answer for _, answer in done] == [(number, os.getpid()) for number in range(3)]


@pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux alone")
def test_where_workers_cannot_be_forked_they_begin_anew(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As where there is no room for the socket by which forks are asked for."""

    def refuse(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(multiprocessing.forkserver, "ensure_running", refuse)
    monkeypatch.setattr(multiprocessing.forkserver, "connect_to_new_process", refuse)
    done = [answer for _, answer in worked([Task(number, tmp_path) for number in range(4)], 2, work, lost)]
    assert sorted(number for number, _ in done) == list(range(4))
    assert os.getpid() not in {process for _, process in done}


@pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux alone")
def test_work_goes_on_when_what_workers_are_forked_from_has_died(tmp_path: Path) -> None:
    running = worked_on([Task(number, tmp_path) for number in range(6)], 2, Way(work, lost))
    done = [next(running)]
    template = multiprocessing.forkserver._forkserver._forkserver_pid  # type: ignore[attr-defined]
    os.kill(template, signal.SIGKILL)
    done += list(running)
    assert sorted(number for _, (number, _) in done) == list(range(6))
    assert all(process for _, (_, process) in done), "none is lost"
    forked = {process for _, (_, process) in done}
    for _ in range(200):  # those whose end nobody can see any more find theirs when the pipe is closed
        if not any(map(works, forked)):
            return
        time.sleep(0.05)
    pytest.fail(f"of {forked} some are left")


def works(process: int) -> bool:
    """Return whether a process is there and has not ended; where nobody waits for it, it stays in the list."""
    try:
        return bool(psutil.Process(process).status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False


def most_at_once(log: Path) -> int:
    """Return the most that was needed at one moment."""
    sums, now = [0], 0
    for line in log.read_text(encoding="ascii").split():
        now += int(line)
        sums.append(now)
    return max(sums)


@pytest.mark.parametrize(("total", "most"), [(1000, 70), (60, 50), (45, 40), (10, 40)])
def test_no_more_is_worked_on_at_once_than_there_is_room_for(tmp_path: Path, total: int, most: int) -> None:
    """What is too large for the room is done too, but alone; each idle worker counts 1."""
    tasks = [Task(number, tmp_path, need=need) for number, need in enumerate((40, 30, 20, 10, 10, 10))]
    way: Way[Task, tuple[int, int]] = Way(overlap, lost, room=Room(total, 1, lambda task: task.need))
    done = [number for _, (number, _) in worked_on(tasks, 2, way)]
    assert sorted(done) == list(range(6))
    assert most_at_once(tmp_path / "log") <= most
