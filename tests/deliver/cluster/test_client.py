"""An export on a real scheduler with real workers, against an export on this machine alone."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import sys
import threading
import time
from typing import TYPE_CHECKING, Any

import pytest

import pipeline.deliver.cluster.client as client_module
from pipeline.cli import main
from pipeline.deliver.cluster.client import Cluster, cluster
from pipeline.deliver.export import Asked, Summary, export
from pipeline.faults import RequestRefused
from tests.deliver.cluster.running import scheduler, workers
from tests.small_shoot import frame, own_target

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.tasks import FrameTask

FRAMES = 6
HEAD = f"""
profiles = ["blog"]
[shoot]
title = "Bean soup"
targets = ["blog/square"]
[targets."blog/square"]{own_target(widths=[100, 200])}
[targets."blog/two"]
about = "Two"
size_px = [200, 150]
layout = "side-by-side"
too_small = "shrink"
keep_miss = "caution"
formats = ["jpeg"]
sharpen = {{ medium = "screen" }}
metadata = "public"
[[pairs]]
pair = ["f0", "f1"]
targets = ["blog/two"]
alt = "Two"
"""


def shoot(folder: Path, frames: int = FRAMES) -> Path:
    """Write a job of frames that differ, and a picture of two of them; return the job file."""
    text = HEAD
    for number in range(frames):
        frame(folder / f"f{number}.jpg", (600 + 10 * number, 400))
        text += f'[[frames]]\nfile = "f{number}.jpg"\nsubject = [0.5, 0.5]\nalt = "Soup"\n'
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def files(out: Path) -> dict[str, str]:
    """Return the digest of every file of an output folder but the ledger and the lock."""
    return {
        str(path.relative_to(out)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in out.rglob("*")
        if path.is_file() and not path.name.startswith((".exporting", "ledger.sqlite"))
    }


def run(job: Path, out: str, **changes: Any) -> Summary:  # noqa: ANN401 (of export)
    return export(Asked(job, job.parent / out, quiet=True, workers=1), io.StringIO(), **changes)


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[int]]]:
    """Return the address of a scheduler with three workers, and their process ids; the tests may kill the last."""
    folder = tmp_path_factory.mktemp("cluster")
    with scheduler(folder) as (address, _), workers(address, folder, 3) as pids:
        yield address, pids


def test_one_worker_killed_half_way_costs_nothing_and_the_bytes_are_those_of_one_machine(
    tmp_path: Path, three: tuple[str, list[int]]
) -> None:
    address, pids = three
    job = shoot(tmp_path)
    killed: list[int] = []

    def killing(far: Cluster, tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        for done in far.results(tasks):
            if not killed:
                at_work = [worker for worker, keys in far.client.processing().items() if keys]
                by_worker = far.client.run(os.getpid, workers=at_work)
                killed.append(by_worker[at_work[-1]])
                os.kill(killed[0], signal.SIGKILL)
            yield done

    with cluster(address) as far:
        assert len(far.workers) == 3
        far.refuse_unseen([(job, tmp_path / "far")])
        summary = run(job, "far", hands=lambda tasks: killing(far, tasks))
        assert len(far.client.scheduler_info(n_workers=-1)["workers"]) == 2
    assert killed[0] in pids
    assert summary.faults == ()
    here = run(job, "here")
    assert summary.rendered == here.rendered == len(here.made)
    assert files(tmp_path / "far") == files(tmp_path / "here")
    again = run(job, "far")
    assert (again.rendered, again.kept) == (0, here.rendered)


def test_what_a_killed_worker_had_made_and_not_yet_told_is_made_again(tmp_path: Path) -> None:
    """The other worker is held still until what was lost has been asked for."""
    job = shoot(tmp_path)
    killed: list[str] = []

    def killing(far: Cluster, tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
        for done in far.results(tasks):
            if not killed:
                while any(far.client.processing().values()):
                    time.sleep(0.05)
                held, process = far.client.has_what(), far.client.run(os.getpid)
                killed.append(max(held, key=lambda worker: len(held[worker])))
                [other] = (process[worker] for worker in process if worker != killed[0])
                os.kill(other, signal.SIGSTOP)
                os.kill(process[killed[0]], signal.SIGKILL)
                while killed[0] in far.client.scheduler_info(n_workers=-1)["workers"]:
                    time.sleep(0.05)
                threading.Timer(1, os.kill, (other, signal.SIGCONT)).start()
            yield done

    with scheduler(tmp_path) as (address, _), workers(address, tmp_path, 2), cluster(address) as far:
        summary = run(job, "far", hands=lambda tasks: killing(far, tasks))
    assert killed
    assert summary.faults == ()
    run(job, "here")
    assert files(tmp_path / "far") == files(tmp_path / "here")


def test_the_command_says_what_it_does_on_one_machine_too(
    tmp_path: Path, three: tuple[str, list[int]], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot(tmp_path, 2)
    monkeypatch.chdir(tmp_path)  # places named from here are whole for the workers, who stand elsewhere
    assert main(["export", "job.toml", "--scheduler", three[0], "--out", "far"]) == 0
    said = capsys.readouterr()
    assert " files rendered, 0 unchanged" in said.out
    assert "2 of 2 frames, " in said.err
    assert main(["export", "job.toml", "--workers", "1", "--out", "here"]) == 0
    assert files(tmp_path / "far") == files(tmp_path / "here")


@pytest.mark.skipif(sys.platform != "linux", reason="judge missing: a place that is another one in each process")
def test_workers_that_do_not_see_the_folders_are_refused(tmp_path: Path, three: tuple[str, list[int]]) -> None:
    """/proc/self/cwd is a real folder that is another one for every process."""
    (tmp_path / "mine").mkdir()
    shoot(tmp_path / "mine", 1)
    there = type(tmp_path)("/proc/self/cwd")
    before = os.getcwd()  # noqa: PTH109 (the process's own)
    os.chdir(tmp_path / "mine")
    try:
        with cluster(three[0]) as far:
            with pytest.raises(RequestRefused) as refused:
                far.refuse_unseen([(there / "job.toml", tmp_path / "out")])
            unread = [str(fault) for fault in refused.value.faults]
            with pytest.raises(RequestRefused) as refused:
                far.refuse_unseen([(tmp_path / "mine" / "job.toml", there / "deep" / "out")])
            unwritten = [str(fault) for fault in refused.value.faults]
    finally:
        os.chdir(before)
    assert all("it cannot read /proc/self/cwd/job.toml (no such file or directory)" in one for one in unread)
    assert all("it does not see the folder /proc/self/cwd/deep/out (no such file" in one for one in unwritten)
    assert {len(unread), len(unwritten)} <= {2, 3}
    assert not (tmp_path / "out").exists()
    assert sorted(path.name for path in (tmp_path / "mine").iterdir()) == ["f0.jpg", "job.toml"]


def refusal(address: str) -> list[str]:
    with pytest.raises(RequestRefused) as refused, cluster(address):
        pass
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize("address", ["studio", "ftp://studio:21", "tcp://studio", "tcp://:x", "tls://127.0.0.1:1", ""])
def test_what_is_no_address_is_refused_in_one_sentence(address: str) -> None:
    (said,) = refusal(address)
    assert said.startswith(f"--scheduler {address}: ")
    assert said.endswith("; write it as tcp://HOST:PORT")


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(client_module, "ANSWER_WITHIN_S", 1)
    assert refusal("tcp://127.0.0.1:9") == [
        "--scheduler tcp://127.0.0.1:9: no scheduler answered there within 1 seconds; start one with: dask scheduler"
    ]


def test_without_the_extra_one_sentence_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    assert refusal("tcp://127.0.0.1:8786") == [
        "--scheduler: the part of plateline that works on a cluster is not installed; pip install 'plateline[cluster]'"
    ]


def test_workers_and_scheduler_are_not_asked_for_together(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = shoot(tmp_path, 1)
    assert main(["export", str(job), "--scheduler", "tcp://127.0.0.1:9", "--workers", "2"]) == 2
    assert "--workers: it counts processes of this machine; leave it out with --scheduler" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_workers_that_would_make_other_bytes_are_refused(tmp_path: Path) -> None:
    """Three real workers: one with another codec, one without plateline, one that would do two frames at once."""
    odd = {name: tmp_path / name for name in ("codec", "none", "threads")}
    for folder in odd.values():
        folder.mkdir()
    metadata = odd["codec"] / "pyvips_binary-8.0.1.dist-info" / "METADATA"
    metadata.parent.mkdir()
    metadata.write_text("Metadata-Version: 2.1\nName: pyvips-binary\nVersion: 8.0.1\n", encoding="utf-8")
    (odd["none"] / "pipeline").mkdir()
    # A package of that name and nothing in it, wherever an installed one would be looked for.
    hollow = 'import sys\nsys.modules["pipeline.deliver"] = None\n'
    (odd["none"] / "pipeline" / "__init__.py").write_text(hollow, encoding="utf-8")
    with scheduler(tmp_path) as (address, _):
        assert refusal(address) == [
            f"--scheduler {address}: this scheduler has no workers; start some with: dask worker {address} --nthreads 1"
        ]
        with workers(address, odd["codec"], first=str(odd["codec"])):
            (codec,) = refusal(address)
        with workers(address, odd["none"], first=str(odd["none"])):
            (none,) = refusal(address)
        with workers(address, odd["threads"], threads=2):
            (threads,) = refusal(address)
    assert "it has pyvips-binary 8.0.1 (here 8." in codec
    assert codec.endswith("; install the same versions there as here")
    assert "it has no plateline that could work for this one; install the same" in none
    assert threads.endswith(
        "it would work on 2 frames at once, in one process; start it with --nthreads 1, and --nworkers for more at once"
    )


def test_a_scheduler_that_goes_away_is_told_once_and_the_next_run_finishes(tmp_path: Path) -> None:
    job = shoot(tmp_path, 12)
    with scheduler(tmp_path) as (address, process), workers(address, tmp_path), cluster(address) as far:

        def stopped(tasks: list[FrameTask]) -> Iterator[tuple[FrameTask, FrameDone]]:
            for number, done in enumerate(far.results(tasks)):
                if number == 0:
                    process.kill()
                yield done

        summary = run(job, "out", hands=stopped)
    (fault,) = summary.faults
    assert fault.file == address
    assert "the scheduler stopped answering; " in str(fault)
    finished = run(job, "out")
    here = run(job, "here")
    assert finished.faults == ()
    assert summary.rendered < here.rendered == finished.rendered + finished.kept
    both = [files(tmp_path / name) for name in ("out", "here")]
    for one in both:
        del one["sheet/index.html"]  # what the first run showed was a round of its own
    assert both[0] == both[1]
