"""An export that is hindered on its way: each thing that goes wrong is told, the rest is made, the next run goes on.

A full disk, a folder that cannot be written and a limit on files are real ones, made by the system for one process;
none needs to be root. Where this system lets a small file system be mounted, that is tried too.
"""

from __future__ import annotations

import functools
import io
import os
import shlex
import signal
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

import pipeline.deliver.work
import pipeline.deliver.workers
from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.place import at_work_in
from pipeline.deliver.work import work_on_frame
from pipeline.faults import RequestRefused
from tests.small_shoot import FRAME, HEAD, frame, own_target, write_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pipeline.deliver.done import FrameDone
    from pipeline.deliver.tasks import FrameTask

NAMES = ("bowl.jpg", "bread.jpg", "plum.jpg")
LARGE = '\n[targets."feed/large"]' + own_target(ratio="3:2", widths=[600], formats=["png"])


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return a job of three frames; the second has a picture that is much larger than all others."""
    text = HEAD + LARGE
    for name in NAMES:
        targets = '["blog/step", "feed/large"]' if name == "bread.jpg" else '["blog/step"]'
        text += FRAME.replace("bowl.jpg", name) + f"targets = {targets}\n"
    _grain(tmp_path / "bread.jpg")
    return write_job(tmp_path, text, NAMES)


def _grain(path: Path) -> None:
    """Save a frame that no encoder without loss makes small."""
    from PIL import Image  # noqa: PLC0415 (here alone)

    grain = [Image.effect_noise((600, 400), 90) for _ in range(3)]
    Image.merge("RGB", grain).save(path, quality=90)


def run(job: Path, progress: io.StringIO | None = None, workers: int = 1) -> Summary:
    return export(Asked(job, job.parent / "out", workers=workers), progress or io.StringIO())


def unfinished(job: Path) -> list[Path]:
    return list((job.parent / "out").rglob(".unfinished-*"))


class _Then(io.StringIO):
    """Progress that does something as soon as the first frame is done."""

    def __init__(self, act: Callable[[str], None]) -> None:
        super().__init__()
        self._act: Callable[[str], None] | None = act

    def write(self, text: str) -> int:
        if self._act:
            act, self._act = self._act, None
            act(text)
        return super().write(text)


SAID = {
    "goes away": "is not there; check the name and the folder",
    "is another picture": "it was changed while the export was at work; run export again",
    "is cut short": "cut short",
}


@pytest.mark.parametrize("change", SAID)
def test_a_frame_that_changes_meanwhile_is_told_and_the_others_are_made(job: Path, change: str) -> None:
    victim: list[str] = []

    def act(first: str) -> None:
        victim.append(next(name for name in NAMES if name not in first))
        path = job.parent / victim[0]
        whole = path.read_bytes()
        path.unlink()
        if change == "is another picture":
            frame(path)
        elif change == "is cut short":
            path.write_bytes(whole[: len(whole) // 2])

    summary = run(job, _Then(act))
    assert {fault.file for fault in summary.faults} == set(victim)
    (fault,) = summary.faults
    assert SAID[change] in str(fault)
    slug = victim[0].removesuffix(".jpg")
    assert {path.split("-")[2] for path in summary.made if path.startswith("blog/")} == {
        name.removesuffix(".jpg") for name in NAMES
    } - {slug}
    frame(job.parent / victim[0])
    again = run(job)
    assert not again.faults
    assert again.kept == summary.rendered


def deadly(task: FrameTask) -> FrameDone:
    """Work on a frame, but kill the worker that has the bread."""
    if task.file == "bread.jpg":
        os.kill(os.getpid(), signal.SIGKILL)
    return work_on_frame(task)


def exhausting(task: FrameTask) -> FrameDone:
    if task.file == "bread.jpg":
        raise MemoryError
    return work_on_frame(task)


def test_a_frame_that_kills_its_workers_is_told_and_the_others_are_made(
    job: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patched:
        patched.setattr(pipeline.deliver.workers, "at_work", deadly)
        summary = run(job, workers=2)
    (fault,) = summary.faults
    assert str(fault).startswith("bread.jpg: the worker making it was stopped twice, the second time with no other")
    assert {path.split("-")[2] for path in summary.made if path.startswith("blog/")} == {"bowl", "plum"}
    again = run(job, workers=2)
    assert (again.faults, again.kept) == ((), summary.rendered)


def test_a_frame_for_which_memory_does_not_suffice_is_told(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.deliver.work, "work_on_frame", exhausting)
    (fault,) = run(job).faults
    assert str(fault).startswith("bread.jpg: there was not enough memory for it; close other programs")


def command(job: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "pipeline", "export", str(job), "--workers", "2", "--quiet", *words]


def limited(before: str, job: Path) -> subprocess.CompletedProcess[str]:
    """Run an export in a process that some Python has limited before."""
    words = command(job)
    script = f"import ctypes, os, resource, sys\n{before}\nos.execv(sys.executable, sys.argv[1:])"
    return subprocess.run([sys.executable, "-c", script, *words], capture_output=True, text=True, check=False)


def test_a_file_for_which_there_is_no_room_is_told_and_the_others_are_made(job: Path) -> None:
    """RLIMIT_FSIZE of setrlimit(2): no file may grow beyond so many bytes, as on a disk that is full then."""
    done = limited("resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))", job)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "feed/bean-soup-bread-large-600.png: it could not be written (File too large); "
        "free some space or mend the folder\n"
    )
    assert not unfinished(job)
    again = run(job)
    assert (again.faults, again.rendered) == ((), 1)


AS_OTHERS = """
if os.geteuid() == 0:  # without its right to write everywhere (PR_CAPBSET_DROP, CAP_DAC_OVERRIDE of capabilities(7))
    assert ctypes.CDLL(None).prctl(24, 1, 0, 0, 0) == 0
"""


def test_a_folder_that_cannot_be_written_is_told_and_the_others_are_made(job: Path) -> None:
    folder = job.parent / "out" / "feed"
    folder.mkdir(parents=True)
    folder.chmod(0o555)
    done = limited(AS_OTHERS, job)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "feed/bean-soup-bread-large-600.png: it could not be written (Permission denied); "
        "free some space or mend the folder\n"
    )
    folder.chmod(0o755)
    again = run(job)
    assert (again.faults, again.rendered) == ((), 1)


def test_an_output_folder_that_cannot_be_written_is_refused(job: Path) -> None:
    out = job.parent / "out"
    out.mkdir()
    out.chmod(0o555)
    done = limited(AS_OTHERS, job)
    out.chmod(0o755)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        f"{out}: nothing can be written there (permission denied); name a folder of yours with --out, "
        "or free some space\n1 fault; nothing was written\n"
    )
    assert list(out.iterdir()) == []


@functools.cache
def own_mounts() -> tuple[str, ...] | None:
    """Return what runs a command that may mount for itself alone, None where the system does not let us."""
    for words in (("unshare", "--mount"), ("unshare", "--user", "--map-root-user", "--mount")):
        try:
            if (
                subprocess.run(
                    [*words, "mount", "-t", "tmpfs", "none", "/mnt"], capture_output=True, check=False
                ).returncode
                == 0
            ):
                return words
        except OSError:
            return None
    return None


@pytest.mark.parametrize("kilobytes", [160, 400, 700] if own_mounts() else [])
def test_a_disk_that_is_full_is_told_and_the_next_run_goes_on(job: Path, kilobytes: int) -> None:
    """A real one (tmpfs), in a mount namespace that ends with the command; with more room all is made."""
    words = own_mounts() or ()
    out, kept = job.parent / "out", job.parent / "kept"
    out.mkdir()
    line = shlex.join(command(job))
    folder = shlex.quote(str(out))
    script = f"""
        mount -t tmpfs -o size={kilobytes}k none {folder} || exit 9
        {line}; first=$?
        find {folder} -name '.unfinished-*' >&2
        echo second >&2
        mount -o remount,size=20m none {folder} || exit 9
        {line}; echo $first $?
        cp -r {folder} {shlex.quote(str(kept))}
    """
    done = subprocess.run([*words, "sh", "-c", script], capture_output=True, text=True, check=False)
    assert done.stdout == "1 0\n", done.stderr
    first, second = done.stderr.split("second\n")
    assert second == ""
    said = first.splitlines()
    assert said
    full = ("No space left on device", "no space left on device", "database or disk is full", "disk I/O error")
    assert [one for one in said if not any(word in one for word in full)] == []
    assert not list(kept.rglob(".unfinished-*"))
    whole = run(job)
    assert len(whole.made) > len(NAMES)
    assert [path for path in whole.made if (kept / path).read_bytes() != (out / path).read_bytes()] == []


def test_a_worker_that_outlives_its_run_holds_the_folder(job: Path) -> None:
    run(job)
    with (
        at_work_in(job.parent / "out"),
        pytest.raises(RequestRefused, match="at work in this"),
    ):
        run(job)
