"""The second opinion: asked where it is installed, told of where it is not."""

from __future__ import annotations

import shutil
import subprocess
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.verify.delivered import read_manifest
from pipeline.deliver.verify.second_reader import consult
from pipeline.deliver.verify.verify import verify
from tests.deliver.verify.delivery import FILES, of_ending

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.verify.delivered import Delivered
    from tests.deliver.verify.conftest import Edit


def files(out: Path) -> list[tuple[Delivered, str, Path]]:
    return [(file, file.path, out / file.path) for file in read_manifest(out / "manifest.json")]


def test_it_agrees_about_every_delivered_file(delivery: Path, edit: Edit) -> None:
    del edit  # where there is no judge, this is skipped
    assert consult(files(delivery), frozenset()) == (f"exiftool read {len(FILES)} of {len(FILES)} files too", [])


def test_it_finds_edits_and_private_data_by_itself(out: Path, edit: Edit) -> None:
    name = of_ending("webp")
    edit(out / name, "-XMP-dc:Creator=Somebody", "-GPSLatitude=45.1", "-ExifIFD:SerialNumber=4711")
    _, findings = consult(files(out), frozenset())
    assert [str(finding) for finding in findings] == [
        f"{name}: creator in XMP: exiftool finds 'Somebody'; 'Ines Falkenrath; Jö Tàn; cook' was delivered",
        f"{name}: exiftool finds a GPS position; nothing private was delivered; do not pass it on",
        f"{name}: exiftool finds a serial number; nothing private was delivered; do not pass it on",
    ]
    known = frozenset({(name, "creators"), (name, "a GPS position"), (name, "a serial number")})
    assert consult(files(out), known)[1] == []


def test_without_it_our_own_readers_say_so(delivery: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "which", lambda _: None)
    report = verify(delivery)
    assert report.second_reader == "exiftool is not installed; read by our own readers alone"
    assert report.findings == ()


@pytest.mark.parametrize("answer", [b"no JSON", subprocess.TimeoutExpired("x", 1), OSError()])
def test_one_that_does_not_answer_is_no_difference(
    delivery: Path, monkeypatch: pytest.MonkeyPatch, answer: bytes | Exception
) -> None:
    def run(*_: object, **__: object) -> subprocess.CompletedProcess[bytes]:
        if isinstance(answer, Exception):
            raise answer
        return subprocess.CompletedProcess([], 0, answer, b"")

    monkeypatch.setattr(shutil, "which", lambda name: name)
    monkeypatch.setattr(subprocess, "run", run)
    told, findings = consult(files(delivery), frozenset())
    assert told.startswith("exiftool was asked and did not answer (")
    assert findings == []


def test_names_that_look_like_options_are_names(out: Path, edit: Edit) -> None:
    del edit
    moved = out / "-all=.jpg"
    (out / of_ending("jpg")).rename(moved)
    before = moved.read_bytes()
    report = verify(out)
    assert [finding.kind for finding in report.findings] == ["renamed"]
    assert before == moved.read_bytes()
