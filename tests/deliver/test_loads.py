"""What workers make ready: all that a first frame loads, in a process that can be forked, and memory to work in."""

from __future__ import annotations

import pickle
import resource
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver.loads import AHEAD, LOADS, load, made_ready
from pipeline.deliver.workers import results
from tests.small_shoot import HEAD, asked, own_target, write_job

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.tasks import FrameTask

# A worker's first task, and the modules that are loaded for it alone.
FIRST_TASK = """
import pickle, sys
from pathlib import Path
import pipeline.deliver.template
before = set(sys.modules)
task = pickle.loads(Path(sys.argv[1]).read_bytes())
done = sys.modules["pipeline.deliver.workers"].at_work(task)
assert done.made and not done.faults, done
print(*sorted(set(sys.modules) - before))
"""
THREADS = "import os, pipeline.deliver.template; print(len(os.listdir('/proc/self/task')))"
FAULTS = """
import resource
import numpy as np
from pipeline.deliver.loads import AHEAD, made_ready
for _ in made_ready(): pass
before = resource.getrusage(resource.RUSAGE_SELF)
np.empty(AHEAD // 2, np.uint8).fill(1)
after = resource.getrusage(resource.RUSAGE_SELF)
print(after.ru_minflt - before.ru_minflt, after.ru_maxrss - before.ru_maxrss)
"""


def said_by(text: str, *words: str) -> list[str]:
    command = [sys.executable, "-c", text, *words]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.split()


def test_the_first_frame_finds_everything_loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    handed: list[FrameTask] = []

    def noted(tasks: list[FrameTask], **_: object) -> Iterator[tuple[FrameTask, FrameDone]]:
        handed.extend(tasks)
        return results(tasks, 1)

    monkeypatch.setattr("pipeline.deliver.export.results", noted)
    target = own_target(formats=["jpeg", "webp", "avif", "tiff", "png"])
    text = f'{HEAD}\n[targets."feed/small"]{target}' + asked("bowl.jpg", alt="A bowl", targets=["feed/small"])
    job = write_job(tmp_path, text, ("bowl.jpg",))
    assert main(["export", str(job), "--workers", "1", "--quiet"]) == 0
    pickled = tmp_path / "task"
    pickled.write_bytes(pickle.dumps(handed[0]))
    assert said_by(FIRST_TASK, str(pickled)) == []


@pytest.mark.skipif(sys.platform != "linux", reason="workers are forked on Linux alone")
def test_what_workers_are_forked_from_has_no_thread_but_its_first() -> None:
    assert said_by(THREADS) == ["1"]


@pytest.mark.skipif(sys.platform != "linux", reason="memory that is given back stays with the process by glibc's ways")
def test_what_was_taken_ahead_is_there_for_the_work() -> None:
    """Half of it is taken again, and the system has next to no page to find for it, nor any memory."""
    faults, more_kb = map(int, said_by(FAULTS))
    assert faults < AHEAD // 2 // resource.getpagesize() / 100
    assert more_kb < AHEAD // 2 // 1024 / 100


def test_what_cannot_be_imported_is_left_to_the_work(capsys: pytest.CaptureFixture[str]) -> None:
    load("no_such_module")
    load("tests.deliver.raises_when_loaded")
    assert capsys.readouterr() == ("", "")


def test_it_names_modules_once() -> None:
    assert len(set(LOADS)) == len(LOADS)


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the limit is not kept")
def test_where_addresses_are_limited_no_memory_is_taken_ahead() -> None:
    limit = "import resource; resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))\n"
    steps = "from pipeline.deliver.loads import LOADS, made_ready; print(len(list(made_ready())) - len(LOADS))"
    assert said_by(limit + steps) == ["0"]


def test_it_is_made_ready_in_small_steps() -> None:
    """So that whoever has something to do by then need not wait for the rest."""
    steps = made_ready()
    assert len(list(zip(steps, LOADS, strict=False))) == len(LOADS)
    assert len(list(steps)) > 8
