"""What is said again is what would be said: every change that could matter is made, and leads the full way."""

from __future__ import annotations

import os
import shutil
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest

import pipeline.cli
import pipeline.deliver.recall
import pipeline.deliver.shoot
import pipeline.deliver.survey
from pipeline.cli import main
from pipeline.deliver.place import alone_in
from pipeline.deliver.recall import known_text
from tests.ledger.test_stamps import next_tick, replaced, written_anew
from tests.small_shoot import OWN_TARGET, asked, frame

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

JOB = """\
profiles = ["own"]
profiles_folder = "profiles"
captions = "captions.csv"

[shoot]
title = "Bean soup"
targets = ["own/*"]
"""
JOB += asked("selects/bowl.jpg") + asked("selects/spoon.jpg", subject=[0.4, 0.5], alt="A wooden spoon")
CAPTIONS = "file,alt,caption\nbowl.jpg,A bowl of soup,Served hot\n"
PICTURE = "own/bean-soup-bowl-small-100.jpg"
VERBS: list[tuple[str, ...]] = [
    ("check",),
    ("check", "--strict"),
    ("plan",),
    ("plan", "--json"),
    ("export",),
    ("export", "--only", "bowl/*"),
    ("export", "--rename"),
    ("export", "--approved"),
]


class Run:
    """A shoot whose verbs are run, with what each said and whether it went the full way."""

    def __init__(self, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder, self.job, self.out = folder, folder / "job.toml", folder / "out"
        self._capsys, self._surveys = capsys, 0
        full_way = pipeline.deliver.survey.survey

        def survey(job: Path) -> Any:  # noqa: ANN401 (a Survey)
            self._surveys += 1
            return full_way(job)

        monkeypatch.setattr(pipeline.deliver.survey, "survey", survey)
        monkeypatch.setattr(pipeline.deliver.shoot, "survey", survey)

    def __call__(self, *words: str) -> tuple[int, str, str]:
        """Run a verb after the clock of the file system has moved on; return code and output."""
        next_tick()
        self._capsys.readouterr()
        before = self._surveys
        verb, *options = words
        workers = ["--workers", "1"] if verb == "export" else []
        code = main([verb, *options, *workers, str(self.job)])
        self.went_full_way = self._surveys > before
        told = self._capsys.readouterr()
        return code, told.out, told.err


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a shoot of two small frames that draws on everything a job can draw on, in a cache folder of its own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    folder = tmp_path / "shoot"
    for name in ("bowl", "spoon"):
        frame(folder / "selects" / f"{name}.jpg", (300, 200))
    (folder / "profiles").mkdir()
    (folder / "profiles" / "own.toml").write_text(f'outlet = "own"\nabout = "Ours"\n[targets.small]\n{OWN_TARGET}')
    (folder / "captions.csv").write_text(CAPTIONS)
    (folder / "job.toml").write_text(JOB)
    return Run(folder, capsys, monkeypatch)


@pytest.mark.parametrize("words", VERBS, ids=" ".join)
def test_it_is_said_again_as_it_would_be_said(
    run: Run, words: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = run(*words)
    again = run(*words)
    assert not run.went_full_way
    monkeypatch.setenv("XDG_CACHE_HOME", str(run.job))  # no folder: nothing is known from before
    assert run(*words) == again
    assert run.went_full_way
    assert again[0] == first[0]
    assert words[0] == "export" or again == first


def edited(file: str, old: str, new: str) -> Callable[[Path], None]:
    """Return what replaces words in a file."""

    def edit(shoot: Path) -> None:
        text = (shoot / file).read_text()
        assert old in text
        (shoot / file).write_text(text.replace(old, new))

    return edit


def sidecar(shoot: Path) -> None:
    packet = (
        '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:subject><rdf:Bag><rdf:li>thyme</rdf:li>'
        "</rdf:Bag></dc:subject></rdf:Description></rdf:RDF></x:xmpmeta>"
    )
    (shoot / "selects" / "bowl.xmp").write_text(packet)


def sidecar_elsewhere(shoot: Path) -> None:
    """Add a file beside the frame that changes nothing."""
    (shoot / "selects" / "bowl.jpg.XMP").write_text("damaged")


def replaced_with_another(shoot: Path) -> None:
    place = shoot / "selects" / "spoon.jpg"
    facts = place.stat()
    frame(place.with_name("new.jpg"), (280, 200))
    place.with_name("new.jpg").replace(place)
    os.utime(place, ns=(facts.st_atime_ns, facts.st_mtime_ns))


REFUSED = {"a profile added": "profiles/too.TOML"}
HERS: dict[str, Callable[[Path], object]] = {
    "the job": edited("job.toml", "wooden", "olive"),
    "the captions": edited("captions.csv", "A bowl", "The bowl"),  # a caption alone: tests/deliver/reworded
    "a profile": edited("profiles/own.toml", "widths = [100]", "widths = [120]"),
    "a profile added": lambda shoot: shutil.copy(shoot / "profiles" / "own.toml", shoot / REFUSED["a profile added"]),
    "a frame": replaced_with_another,
    "a frame touched": lambda shoot: (shoot / "selects" / "bowl.jpg").touch(),
    "a sidecar": sidecar,
    "a sidecar that is damaged": sidecar_elsewhere,
    "a folder of replies": lambda shoot: (shoot / "replies").mkdir(),
    "a reply": lambda shoot: (shoot / "replies" / "a.json").touch(),
    "a reply touched": lambda shoot: (shoot / "replies" / "a.json").touch(),
}


@pytest.mark.parametrize("verb", ["check", "plan", "export"])
def test_whatever_of_hers_changes_it_is_worked_out_anew(run: Run, verb: str) -> None:
    run("export")
    for name, change in HERS.items():
        run(verb)
        known = run(verb)
        assert not run.went_full_way, name
        change(run.folder)
        told = run(verb)
        assert run.went_full_way, name
        if name in REFUSED:
            assert told[0] == 2, name
            assert told != known
            (run.folder / REFUSED[name]).unlink()


OURS: dict[str, Callable[[Path], object]] = {
    "a picture touched": lambda out: (out / PICTURE).touch(),
    "a picture removed": lambda out: (out / PICTURE).unlink(),
    "the manifest changed": lambda out: written_anew(out / "manifest.json"),
    "the manifest removed": lambda out: (out / "manifest.json").unlink(),
    "the sheet changed": lambda out: written_anew(out / "sheet" / "index.html"),
    "a preview removed": lambda out: next((out / "sheet").rglob("*.jpg")).unlink(),
    "the kit removed": lambda out: shutil.rmtree(out / "web"),
    "the ledger removed": lambda out: (out / "ledger.sqlite").unlink(),
    "the ledger touched": lambda out: (out / "ledger.sqlite").touch(),
    "the lock removed": lambda out: (out / ".exporting").unlink(),
    "a file added": lambda out: (out / "own" / "strange.jpg").touch(),
    "a folder added": lambda out: (out / "strange").mkdir(),
    "a folder not to be written": lambda out: (out / "own").chmod(0o555),
    "all of it removed": shutil.rmtree,
    "a picture written anew with its size and time": lambda out: written_anew(out / PICTURE),
    "another file in a picture's place": lambda out: replaced(out / PICTURE),
}


def test_whatever_of_ours_changes_it_is_made_as_it_was(run: Run) -> None:
    run("export")
    before = {path: path.read_bytes() for path in run.out.rglob("*") if path.suffix in {".jpg", ".json", ".html"}}
    assert run.out / PICTURE in before
    for name, change in OURS.items():
        run("export")
        assert not run.went_full_way, name
        change(run.out)
        code, *_ = run("export")
        assert run.went_full_way, name
        assert code == 0
        if name not in UNSEEN:
            assert {path: path.read_bytes() for path in before if path.exists()} == before, name


# The ledger knows our pictures by size and time, so the full way takes these for what it made; `verify` reads them.
UNSEEN = {"a picture written anew with its size and time", "another file in a picture's place"}


@pytest.mark.parametrize("verb", ["check", "plan"])
def test_what_an_export_made_is_known_to_those_who_look(run: Run, verb: str) -> None:
    run(verb)
    run(verb)
    assert not run.went_full_way
    run("export")
    run(verb)
    assert run.went_full_way


def test_each_question_has_an_answer_of_its_own(run: Run) -> None:
    told = {words: run(*words) for words in VERBS if words[0] != "export"}
    assert {words: run(*words) for words in told} == told
    run("export", "--only", "bowl/*")
    run("export", "--only", "spoon/*")
    assert run.went_full_way


def test_other_code_answers_for_itself(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    run("plan")
    monkeypatch.setattr(pipeline.deliver.recall, "_ourselves", lambda: "another version")
    run("plan")
    assert run.went_full_way


def test_our_own_files_and_the_packages_are_what_answers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    code, packages = tmp_path / "code", tmp_path / "site-packages"
    (code / "room").mkdir(parents=True)
    packages.mkdir()
    (code / "room" / "step.py").write_text("WIDTH = 1")
    monkeypatch.setattr("pipeline.__path__", [str(code)])
    monkeypatch.setattr("sys.path", [str(packages)])
    monkeypatch.setattr("importlib.util.find_spec", lambda _: None)

    def now() -> str:
        pipeline.deliver.recall._ourselves.cache_clear()
        return pipeline.deliver.recall._ourselves()

    seen = [now()]
    assert now() == seen[0]
    next_tick()
    (code / "room" / "step.py").write_text("WIDTH = 2")
    seen.append(now())
    next_tick()
    (packages / "other-2.0.dist-info").mkdir()
    seen.append(now())
    (code / "room" / "__pycache__").mkdir()
    with_folder = now()
    (code / "room" / "__pycache__" / "step.pyc").touch()
    assert now() == with_folder
    assert len(set(seen)) == 3
    pipeline.deliver.recall._ourselves.cache_clear()


def test_a_day_counts_where_days_are_given(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def on(day: int) -> tuple[int, str, str]:
        monkeypatch.setattr(pipeline.cli, "_now", lambda: datetime(2026, 9, day, 12, tzinfo=UTC))
        return run("check")

    on(1)
    on(2)
    assert not run.went_full_way  # no day is given
    edited("job.toml", 'title = "Bean soup"', 'title = "Bean soup"\nnot_before = 2026-09-04')(run.folder)
    assert "not before 4 September 2026" in on(3)[1]
    assert "not before 4 September 2026" in on(3)[1]
    assert not run.went_full_way
    assert "September" not in on(4)[1]
    assert run.went_full_way
    edited("job.toml", "2026-09-04", "2026-09-04T10:00:00+02:00")(run.folder)
    on(4)
    on(4)
    assert run.went_full_way  # a time of the day: what holds now may not hold in a minute


def test_a_file_changed_while_it_was_read_is_not_relied_on(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    full_way = pipeline.deliver.survey.survey

    def changed_meanwhile(job: Path) -> Any:  # noqa: ANN401 (a Survey)
        surveyed = full_way(job)
        edited("profiles/own.toml", "widths = [100]", "widths = [120]")(run.folder)
        monkeypatch.setattr(pipeline.deliver.survey, "survey", full_way)
        return surveyed

    monkeypatch.setattr(pipeline.deliver.survey, "survey", changed_meanwhile)
    assert "bowl-small-100" in run("plan")[1]
    assert "bowl-small-120" in run("plan")[1]


def test_a_job_with_faults_is_judged_each_time(run: Run) -> None:
    edited("job.toml", "alt =", "alz =")(run.folder)
    for _ in range(2):
        code, out, err = run("check")
        assert (code, out) == (2, "")
        assert "alz" in err


def test_a_frame_that_cannot_be_read_is_tried_each_time(run: Run) -> None:
    (run.folder / "selects" / "bowl.jpg").write_text("no picture")
    for verb in ("check", "plan", "export"):
        for _ in range(2):
            code, _, err = run(verb)
            assert run.went_full_way
            assert code == 1
            assert "bowl.jpg" in err


def test_another_export_at_work_is_said_also_where_nothing_changed(run: Run) -> None:
    run("export")
    with alone_in(run.out):
        code, out, err = run("export")
    assert (code, out) == (2, "")
    assert "another export is at work in this folder" in err


def test_a_damaged_memory_is_none(run: Run) -> None:
    told = run("plan")
    for place in (run.folder.parent / "cache" / "plateline").iterdir():
        place.write_bytes(place.read_bytes()[:-1])
    assert run("plan") == told
    assert run.went_full_way
    assert run("plan") == told
    assert not run.went_full_way


def test_neither_her_words_nor_her_paths_lie_in_the_cache(run: Run) -> None:
    for words in VERBS:
        run(*words)
    kept = list((run.folder.parent / "cache" / "plateline").iterdir())
    assert len(kept) >= len(VERBS)
    whole = b"".join(path.name.encode() + path.read_bytes() for path in kept)
    for word in ("soup", "bowl", "spoon", "selects", "shoot", "caption", str(run.folder)):
        assert word.encode() not in whole


def test_quiet_says_nothing_again(run: Run) -> None:
    run("export", "--quiet")
    assert run("export", "--quiet") == (0, "", "")
    assert not run.went_full_way


def test_a_text_is_worked_out_once_for_each_thing_and_version(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    worked: list[str] = []

    def known(what: str, of: str) -> str:
        return known_text(what, of, lambda: worked.append(of) or f"{what} of {of}")  # type: ignore[func-returns-value]

    for _ in range(2):
        assert [known("digest", "a"), known("digest", "b"), known("size", "a")] == [
            "digest of a",
            "digest of b",
            "size of a",
        ]
    assert worked == ["a", "b", "a"]
    monkeypatch.setattr(pipeline.deliver.recall, "_ourselves", lambda: "another version")
    known("digest", "a")
    assert len(worked) == 4


@pytest.mark.parametrize("verb", ["check", "plan", "export"])
def test_what_draws_on_storage_is_worked_out_each_time(run: Run, monkeypatch: pytest.MonkeyPatch, verb: str) -> None:
    run(verb)
    monkeypatch.setattr(pipeline.cli, "_all_here", lambda _: False)
    run(verb)
    assert run.went_full_way
