"""An export killed at any instant, the whole of it or one process alone: the next one ends as an undisturbed one does.

The instants are spread over the whole run (for workers: over the time that there are any) and drawn anew for each part
of it; the seed is printed where something is wrong (PLATELINE_SEED sets it). A kill that comes after the end, or finds
no worker, counts as none. What is killed is a command with processes of its own; the next run is one too with `--full`,
and is made in this process otherwise, by the same function.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.ledger.book import read_made
from tests.processes import workers_of
from tests.small_shoot import HEAD, asked, frame, own_target, write_job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

SEED = int(os.environ.get("PLATELINE_SEED", "20261130"))
FRAMES = ("bowl.jpg", "bread.jpg", "plum.jpg")
TARGET = '\n[targets."feed/killed"]' + own_target(
    ratio="3:2", widths=[400], formats=["webp", "jpeg", "tiff"], metadata="full"
)
NOT_COMPARED = {"ledger.sqlite"}


@dataclass(frozen=True, slots=True)
class Shoot:
    """A job, what an undisturbed export of it leaves, how long that takes, and how long there are workers."""

    job: Path
    files: dict[str, str]
    made: dict[str, str]
    seconds: float
    worked: float


def export(job: Path) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "pipeline", "export", str(job), "--workers", "2", "--quiet"]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True)


def found(out: Path) -> dict[str, str]:
    """Return the digest of every file below a folder, by path."""
    return {
        path.relative_to(out).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in out.rglob("*")
        if path.is_file() and path.name not in NOT_COMPARED
    }


def with_hers(out: Path) -> Path:
    """Put files of hers where an export writes; return the folder."""
    for place, words in (("feed/notes.txt", "mine"), (".unfinished-novel", "mine too"), ("web/old.html", "my page")):
        (out / place).parent.mkdir(parents=True, exist_ok=True)
        (out / place).write_text(words, encoding="ascii")
    return out


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Shoot:
    folder = tmp_path_factory.mktemp("shoot")
    for name in FRAMES:
        frame(folder / name, (1200, 800))
    job = write_job(
        folder,
        HEAD + TARGET + "".join(asked(name, alt="What is on the table", targets=["feed/killed"]) for name in FRAMES),
        FRAMES,
    )
    out = folder / "out"
    for _ in range(2):  # the first run finds nothing in the caches of the system, and takes longer than all others
        shutil.rmtree(out, ignore_errors=True)
        with_hers(out)
        began = time.monotonic()
        with export(job) as running:
            wait_for_workers(running)
            working = time.monotonic()
            while workers_of(running.pid):
                time.sleep(0.01)
            worked = time.monotonic() - working
            assert running.wait() == 0, running.stdout and running.stdout.read()
        ended = time.monotonic()
    made = {path: row.sha256 for path, row in read_made(out).items()}
    assert len(made) >= 3 * 5, "files, and pictures of the sheet"
    return Shoot(job, found(out), made, ended - began, worked)


def wait_for_workers(running: subprocess.Popen[str]) -> None:
    """Return when an export has workers, or has ended."""
    while running.poll() is None and not workers_of(running.pid):
        time.sleep(0.01)


def kill(running: subprocess.Popen[str], whom: str, chance: random.Random) -> bool:
    """Kill the whole of an export, its parent or one worker; return whether there was something to kill."""
    if running.poll() is not None:
        return False
    if whom == "group":
        os.killpg(running.pid, signal.SIGKILL)
    elif whom == "parent":
        running.kill()
    else:
        workers = workers_of(running.pid)
        if not workers:
            return False
        try:
            os.kill(chance.choice(workers), signal.SIGKILL)
        except ProcessLookupError:
            return False
    return True


def instants(kills: int, seconds: float, chance: random.Random) -> Iterator[float]:
    """Yield one instant in each of so many equal parts of a run, in any order, again and again."""
    while True:
        parts = list(range(kills))
        chance.shuffle(parts)
        yield from ((part + chance.random()) * seconds / kills for part in parts)


def as_a_command(job: Path) -> tuple[int, str]:
    """Export a job by a command; return its exit code and all that it said."""
    with export(job) as running:
        said, _ = running.communicate()
    return running.returncode, said


def killed_and_run_again(shoot: Shoot, whom: str, kills: int, again: Callable[[Path], tuple[int, str]]) -> None:
    chance = random.Random(f"{SEED} {whom}")  # noqa: S311 (drawn again from its seed)
    frames = {name: (shoot.job.parent / name).stat() for name in FRAMES}
    out = shoot.job.parent / "out"
    done = 0
    seconds = shoot.worked if whom == "worker" else shoot.seconds
    for tries, instant in enumerate(instants(kills, seconds, chance), start=1):
        shutil.rmtree(out)
        with_hers(out)
        with export(shoot.job) as running:
            if whom == "worker":
                wait_for_workers(running)
            time.sleep(instant)
            done += kill(running, whom, chance)
            code = running.wait()
        told = f"seed {SEED}, {whom}, kill {done} at {instant:.3f} s of {seconds:.3f} s"
        sys.stdout.write(f"{told}\n")
        if whom == "worker":
            assert code == 0, f"{told}: another worker did what this one left"
            assert found(out) == shoot.files, told
        assert again(shoot.job) == (0, ""), told
        assert found(out) == shoot.files, told
        assert {path: row.sha256 for path, row in read_made(out).items()} == shoot.made, told
        assert {name: (shoot.job.parent / name).stat() for name in FRAMES} == frames, told
        if done == kills:
            return
        assert tries < 4 * kills, f"{told}: the runs end before they can be killed"


@pytest.mark.parametrize(("whom", "kills"), [("group", 10), ("parent", 5), ("worker", 5)])
def test_killed_at_any_instant(shoot: Shoot, whom: str, kills: int, capfd: pytest.CaptureFixture[str]) -> None:
    def here(job: Path) -> tuple[int, str]:
        capfd.readouterr()
        code = main(["export", str(job), "--workers", "1", "--quiet"])
        return code, "".join(capfd.readouterr())

    killed_and_run_again(shoot, whom, kills, here)


@pytest.mark.full
@pytest.mark.parametrize(("whom", "kills"), [("group", 100), ("parent", 50), ("worker", 50)])
def test_killed_at_any_instant_very_often(shoot: Shoot, whom: str, kills: int) -> None:
    killed_and_run_again(shoot, whom, kills, as_a_command)


@pytest.mark.parametrize("whom", ["group", "parent"])
def test_a_request_to_end_stops_a_run_as_the_keyboard_does(shoot: Shoot, whom: str) -> None:
    """SIGTERM, to every process as a system that shuts down sends it, or to the command alone."""
    out = shoot.job.parent / "out"
    shutil.rmtree(out)
    with_hers(out)
    words = [sys.executable, "-m", "pipeline", "export", str(shoot.job), "--workers", "2"]
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        assert running.stderr
        assert running.stderr.readline().startswith("1 of 3 frames")
        if whom == "group":
            os.killpg(running.pid, signal.SIGTERM)
        else:
            running.terminate()
        said, err = running.communicate(timeout=120)
    assert (running.returncode, said) == (1, "")
    assert err.splitlines()[-1] == "stopped; what was finished is kept, the next run goes on from there"
    assert [word for word in ("Traceback", "Warning", "resource_tracker") if word in err] == []
    assert {path.name for path in out.rglob(".unfinished-*")} == {".unfinished-novel"}
    with export(shoot.job) as again:
        assert again.wait() == 0
    assert found(out) == shoot.files


def test_the_same_bytes_again_and_with_any_number_of_workers(shoot: Shoot) -> None:
    out = shoot.job.parent / "out"
    for workers in ("1", "3"):
        shutil.rmtree(out)
        with_hers(out)
        words = [sys.executable, "-m", "pipeline", "export", str(shoot.job), "--workers", workers, "--quiet"]
        assert subprocess.run(words, check=False).returncode == 0
        assert found(out) == shoot.files, f"{workers} workers"
