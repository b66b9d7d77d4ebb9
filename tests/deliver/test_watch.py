"""An export that goes on, as a process: real edits of real files, and what it says of them."""

from __future__ import annotations

import os
import queue
import re
import shutil
import signal
import subprocess
import sys
import threading
from typing import TYPE_CHECKING, Self

import pytest

import pipeline.deliver.watch
from pipeline.cli import main
from pipeline.deliver.watch import watch
from tests.deliver.review.shoot import answer
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, frame, write_job

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path
    from types import TracebackType

LONGEST_S = 180  # a limit for a machine that is busy; nothing waits for it
DONE = r"watching \d+ files? of \d shoots?; Ctrl-C ends"
SMALL = '\n[targets."blog/step"]\nformats = ["jpeg"]\n'


class Watching:
    """A running `export --watch`, and what it says, line by line."""

    def __init__(self, *words: object) -> None:
        command = [sys.executable, "-m", "pipeline", "export", "--watch", "--workers", "1", *map(str, words)]
        self.process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, start_new_session=True
        )
        self._lines: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self._lines.put(line.rstrip("\n"))
        self._lines.put(None)

    def until(self, pattern: str) -> list[str]:
        """Return what is said up to a line that matches."""
        said: list[str] = []
        while True:
            try:
                line = self._lines.get(timeout=LONGEST_S)
            except queue.Empty:
                pytest.fail(f"{pattern!r} was not said after {said}")
            if line is None:
                pytest.fail(f"it ended before {pattern!r} was said, after {said}")
            said.append(line)
            if re.fullmatch(pattern, line):
                return said

    def interrupt(self) -> tuple[int, list[str]]:
        """Interrupt it as the keyboard does; return its exit code and the rest of what it says."""
        os.killpg(self.process.pid, signal.SIGINT)
        code = self.process.wait(timeout=LONGEST_S)
        return code, [line for line in iter(self._lines.get, None) if line]

    def __enter__(self) -> Self:
        """Return it."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End it, whatever happened."""
        if self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        assert self.process.stdout
        self.process.stdout.close()


def save_by_rename(path: Path, text: str) -> None:
    """Save as careful editors do: a new file beside the old one, then renamed over it."""
    beside = path.with_name(f".{path.name}.new")
    beside.write_text(text, encoding="utf-8")
    beside.replace(path)


def test_everything_that_a_job_draws_on_is_exported_again_when_it_changes(tmp_path: Path) -> None:
    head = 'captions = "words.csv"\nprofiles_folder = "mine"\n' + HEAD.replace('"partner"]', '"partner", "mine"]')
    text = head + FRAME + 'targets = ["mine/square", "partner/final"]\n'
    (tmp_path / "mine").mkdir()
    profile = tmp_path / "mine" / "mine.toml"
    profile.write_text(f'outlet = "mine"\nabout = "My own"\n[targets.square]{OWN_TARGET}', encoding="utf-8")
    table = tmp_path / "words.csv"
    table.write_text("file,caption\nbowl.jpg,A first caption\n", encoding="utf-8")
    job = write_job(tmp_path, text)
    square = tmp_path / "out" / "mine" / "bean-soup-bowl-square-100.jpg"

    with Watching(job) as watching:
        first = watching.until(DONE)
        assert any(
            line.endswith(" rendered, 0 unchanged, 2 cautions (see the plan or the contact sheet)") for line in first
        )
        assert first[-1] == "watching 4 files of 1 shoot; Ctrl-C ends"

        save_by_rename(job, text.replace("A bowl of soup", "One bowl of soup"))
        said = watching.until(DONE)
        assert said[0] == f"changed: {job}"
        assert any("with new metadata only" in line for line in said)
        assert b"One bowl of soup" in square.read_bytes()

        table.write_text("file,caption\nbowl.jpg,A second caption\n", encoding="utf-8")
        assert watching.until(DONE)[0] == f"changed: {table}"
        assert b"A second caption" in square.read_bytes()

        save_by_rename(profile, profile.read_text(encoding="utf-8").replace("[100]", "[100, 200]"))
        assert watching.until(DONE)[0] == f"changed: {profile}"
        assert square.with_name("bean-soup-bowl-square-200.jpg").is_file()

        before = square.read_bytes()
        shutil.copy(frame(tmp_path / "other" / "board.jpg", (640, 480)), tmp_path / "bowl.jpg")
        said = watching.until(DONE)
        assert said[0] == f"changed: {tmp_path / 'bowl.jpg'}"
        assert square.read_bytes() != before

        sidecar = tmp_path / "bowl.jpg.xmp"
        sidecar.write_bytes(
            b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
            b'<rdf:Description xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" rdf:about="" '
            b'photoshop:Credit="From the sidecar"/></rdf:RDF></x:xmpmeta>'
        )
        assert watching.until(DONE)[0] == f"changed: {sidecar}"
        assert b"From the sidecar" in square.read_bytes()

        final = tmp_path / "out" / "partner" / "bean-soup-bowl-final-640.jpg"
        assert not final.exists()
        assert main(["reply", str(job), str(answer(job, {"bowl": ["approve", "lovely"]}))]) == 0
        assert watching.until(DONE)[0].startswith(f"changed: {tmp_path / 'replies'}{os.sep}")
        assert final.is_file()

        job.write_text(text.replace("subject", "sujet"), encoding="utf-8")
        said = watching.until(DONE)
        assert said[0] == f"changed: {job}"
        assert any("'sujet' is no key of this table" in line and "did you mean 'subject'?" in line for line in said)
        table.write_text("file,caption\nbowl.jpg,A third caption\n", encoding="utf-8")
        assert watching.until(DONE)[0] == f"changed: {table}"  # also while the job is at fault
        job.write_text("[shoot", encoding="utf-8")
        assert any("it ends in the middle of a value" in line for line in watching.until(DONE))
        save_by_rename(job, text)
        assert watching.until(DONE)[0] == f"changed: {job}"  # and nothing was seen to change by its own doing
        assert b"A third caption" in square.read_bytes()

        assert watching.interrupt() == (0, ["stopped watching; what was finished is kept"])
    assert not list((tmp_path / "out").rglob(".unfinished-*"))


def test_of_several_shoots_only_what_changed_is_exported_and_one_at_fault_holds_up_no_other(tmp_path: Path) -> None:
    for name in ("bread", "soup"):
        (tmp_path / name).mkdir()
        write_job(tmp_path / name, JOB.replace("Bean soup", name) + SMALL)
    bread, soup = tmp_path / "bread" / "job.toml", tmp_path / "soup" / "job.toml"
    sound = bread.read_text(encoding="utf-8")
    bread.write_text(sound.replace("title", "titel"), encoding="utf-8")
    with Watching(tmp_path) as watching:
        first = watching.until(DONE)
        assert first[-1] == "watching 4 files of 2 shoots; Ctrl-C ends"
        assert any(line.startswith(f"{bread}: shoot: titel: ") for line in first)
        assert f"contact sheet: {soup.parent}/out/sheet/index.html" in first
        bread.write_text(sound, encoding="utf-8")
        said = watching.until(DONE)
        assert said[0] == f"changed: {bread}"
        assert f"contact sheet: {bread.parent}/out/sheet/index.html" in said
        assert not any(str(soup.parent) in line for line in said)
        assert watching.interrupt()[0] == 0


def test_an_interrupt_in_the_middle_of_an_export_ends_it_too(tmp_path: Path) -> None:
    frames = tuple(f"frame-{number}.jpg" for number in range(30))
    job = write_job(tmp_path, HEAD + "".join(FRAME.replace("bowl.jpg", name) for name in frames), frames)
    with Watching(job) as watching:
        watching.until(r"1 of 30 frames, .*")
        code, said = watching.interrupt()
    assert code == 0
    assert said[-1] == "stopped watching; what was finished is kept"
    assert not any("Traceback" in line for line in said)


def test_rename_is_refused_while_watching(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["export", str(write_job(tmp_path)), "--watch", "--rename"]) == 2
    assert capsys.readouterr().err == (
        "--rename: with --watch every edit of a title would give delivered files other names; "
        "run it once without --watch\n1 fault; nothing was written\n"
    )


class _Enough(Exception):  # noqa: N818 (it is how a test ends what never ends)
    pass


def test_what_changes_while_an_export_is_at_work_is_exported_after_it(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    exported: list[Sequence[Path]] = []
    said: list[str] = []

    def export(jobs: Sequence[Path]) -> None:
        exported.append(jobs)
        if len(exported) == 1:
            (tmp_path / "bowl.jpg.xmp").touch()  # no notice is waited for yet
        else:
            raise _Enough

    with pytest.raises(_Enough):
        watch([job], export, said.append)
    assert exported == [[job], [job]]
    assert said == ["watching 3 files of 1 shoot; Ctrl-C ends", f"changed: {tmp_path}/bowl.jpg.xmp"]


def test_where_the_system_gives_no_notice_it_looks_by_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object, **__: object) -> object:
        raise OSError(28, "OS file watch limit reached")

    monkeypatch.setattr("watchfiles.watch", none)
    monkeypatch.setattr(pipeline.deliver.watch, "LOOK_AGAIN_MS", 10)
    job = write_job(tmp_path)
    said: list[str] = []

    def export(_: Sequence[Path]) -> None:
        if len(said) > 1:
            raise _Enough

    def say(line: str) -> None:
        said.append(line)
        threading.Timer(0.2, (tmp_path / "bowl.xmp").touch).start()

    with pytest.raises(_Enough):
        watch([job], export, say)
    assert said == ["watching 2 files of 1 shoot; Ctrl-C ends", f"changed: {tmp_path}/bowl.xmp"]
