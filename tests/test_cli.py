"""The command: its help, its exit codes, what it prints where, and that it is still there when its reader is not."""

from __future__ import annotations

import io
import json
import os
import re
import shlex
import signal
import subprocess
import sys
import tomllib
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from jsonschema import Draft202012Validator

import pipeline.cli
import pipeline.deliver.finish
import pipeline.deliver.work
from pipeline.cli import main
from tests.deliver.review.shoot import answer
from tests.frames.inspection.subjects import composite
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, write_job

if TYPE_CHECKING:
    from collections.abc import Sequence

VERBS = ["new", "check", "plan", "inspect", "export", "sheet", "reply", "verify", "pack", "targets", "schema"]


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    """Return the exit code and what was printed to both streams."""
    capsys.readouterr()
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def stopped(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Return the same of a command line that ends before any verb runs."""
    with pytest.raises(SystemExit) as end:
        main(list(words))
    told = capsys.readouterr()
    assert isinstance(end.value.code, int)
    return end.value.code, told.out, told.err


@pytest.mark.parametrize("verb", VERBS)
def test_the_help_of_every_verb_shows_an_example_that_can_be_typed(
    capsys: pytest.CaptureFixture[str], verb: str
) -> None:
    code, out, _ = stopped(capsys, verb, "--help")
    example = re.search(r"(?m)^example:\n  plateline (.*)$", out)
    assert code == 0
    assert example
    assert example[1].startswith(verb)
    words = shlex.split(example[1].partition(" > ")[0])
    assert pipeline.cli._parser().parse_args(words).verb


def test_the_help_names_every_verb(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = stopped(capsys, "--help")
    assert code == 0
    assert "example: plateline new" in out
    assert [verb for verb in VERBS if f"\n    {verb} " not in out] == []


def test_the_version_is_that_of_the_distribution(capsys: pytest.CaptureFixture[str]) -> None:
    assert stopped(capsys, "--version")[:2] == (0, f"plateline {version('plateline')}\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "the following arguments are required: VERB"),
        (["exprot"], "invalid choice: 'exprot'"),
        (["export"], "the following arguments are required: JOB"),
        (["export", "job.toml", "--workers", "0"], "found '0'; a number from 1 to 256 is needed"),
        (["export", "job.toml", "--workers", "257"], "found '257'; a number from 1 to 256 is needed"),
        (["export", "job.toml", "--workers", "-1"], "found '-1'; a number from 1 to 256 is needed"),
        (["export", "job.toml", "--workers", "two"], "found 'two'; a number from 1 to 256 is needed"),
        (["export", "job.toml", "--workers", "²"], "found '²'; a number from 1 to 256 is needed"),
        (["export", "job.toml", "--workers", "9" * 5000], "a number from 1 to 256 is needed"),
        (["export", "job.toml", "--out", ""], "found nothing; the name of a folder is needed"),
        (["check", "job.toml", "--quiet"], "unrecognized arguments: --quiet"),
        (["plan", "job.toml", "another.toml"], "unrecognized arguments: another.toml"),
    ],
)
def test_a_command_line_that_makes_no_sense_ends_with_2(
    capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    code, out, err = stopped(capsys, *words)
    assert (code, out) == (2, "")
    assert said in err


def test_a_sound_job_is_checked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path)
    assert run(capsys, "check", job) == (
        0,
        (
            "caution: bowl: no ICC profile: taken as sRGB\n"
            "caution: bowl/blog/step: the crop is only 600 px wide: larger sizes are left out\n"
            f"note: not inspected yet; to look at them: plateline inspect {job}\n"
            f"{job}: the job is sound; 1 of 1 frame can be read, 1 rendition, 4 files\n"
        ),
        "",
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bowl.jpg", "job.toml"]


def test_the_calendar_is_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    days = "not_before = 2026-10-01\nlicence_ends = 2027-09-30\n"
    job = write_job(tmp_path, HEAD + days + FRAME)

    def checked(*moment: int) -> tuple[int, str]:
        monkeypatch.setattr(pipeline.cli, "_now", lambda: datetime(*moment, tzinfo=UTC))  # type: ignore[misc, arg-type]
        return run(capsys, "check", job)[:2]

    assert "note: bowl/blog/step: not before 1 October 2026\n" in checked(2026, 9, 30)[1]
    assert "October" not in checked(2026, 10, 1)[1]
    assert "caution: bowl/blog/step: its licence ended 30 September 2027\n" in checked(2027, 10, 1)[1]
    assert "      not before 1 October 2026; licence ends 30 September 2027\n" in run(capsys, "plan", job)[1]
    (rendition,) = json.loads(run(capsys, "plan", job, "--json")[1])["frames"][0]["renditions"]
    assert (rendition["not_before"], rendition["licence_ends"]) == ("2026-10-01", "2027-09-30")


def test_a_plan_is_shown_and_nothing_is_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path)
    code, out, err = run(capsys, "plan", job)
    assert (code, err) == (0, "")
    assert out.startswith("1. bowl  (bowl.jpg, 600 x 400, jpeg)\n")
    assert "      600 x 400  blog/bean-soup-bowl-step-600.jpg\n" in out
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bowl.jpg", "job.toml"]


def test_a_plan_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "plan", write_job(tmp_path, JOB.replace("Bean", "Crème of bean")), "--json")
    document: dict[str, Any] = json.loads(out)
    assert (code, document["title"]) == (0, "Crème of bean soup")
    (rendition,) = document["frames"][0]["renditions"]
    assert set(rendition) >= {
        "target", "box", "subject_at", "anchor", "kept", "keep_lost", "effective_ppi", "refused", "cautions", "files",
    }  # fmt: skip


def test_json_is_whole_also_where_a_frame_cannot_be_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.jpg").write_text("no picture")
    code, out, err = run(capsys, "plan", write_job(tmp_path, JOB + FRAME.replace("bowl", "bad")), "--json")
    assert (code, len(json.loads(out)["frames"]), err.count("\n")) == (1, 1, 1)


def test_an_export_tells_its_progress_apart_from_its_summary(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, "export", write_job(tmp_path), "--workers", 1)
    assert (code, err) == (0, "1 of 1 frames, 6 of 6 files: bowl.jpg\n")
    assert out.splitlines()[-2:] == [
        "6 files rendered, 0 unchanged, 2 cautions (see the plan or the contact sheet)",
        f"contact sheet: {tmp_path / 'out' / 'sheet' / 'index.html'}",
    ]
    again = run(capsys, "export", tmp_path / "job.toml", "--workers", 1)
    assert again[1].startswith("0 files rendered, 6 unchanged, ")
    assert again[2] == ""


def test_quiet_says_nothing_but_what_went_wrong(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.jpg").touch()
    job = write_job(tmp_path, JOB + FRAME.replace("bowl", "bad"))
    code, out, err = run(capsys, "export", job, "--workers", 1, "--quiet")
    assert (code, out, err) == (1, "", "bad.jpg: is empty (0 bytes); copy it from the card again\n")


def several(tmp_path: Path) -> Path:
    """Make two shoots of one frame each in a folder; return it."""
    for name in ("bread", "soup"):
        (tmp_path / name).mkdir()
        write_job(tmp_path / name, JOB.replace("Bean soup", name))
    return tmp_path


def test_a_folder_of_shoots_is_exported_and_each_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    top = several(tmp_path)
    code, out, err = run(capsys, "export", top, "--workers", 1)
    assert (code, err) == (
        0,
        "1 of 2 frames, 6 of 12 files: bread / bowl.jpg\n2 of 2 frames, 12 of 12 files: soup / bowl.jpg\n",
    )
    lines = out.splitlines()
    assert [line for line in lines if not line.startswith("  ")] == [
        f"{top}/bread/job.toml:",
        f"{top}/soup/job.toml:",
        "2 of 2 shoots: 12 files rendered, 0 unchanged, 4 cautions (see the plan or the contact sheet)",
    ]
    assert f"  contact sheet: {top}/soup/out/sheet/index.html" in lines
    code, out, err = run(capsys, "export", top / "soup", top / "bread" / "job.toml")
    assert (code, err) == (0, "")
    assert out.splitlines()[0] == f"{top}/soup/job.toml:"


def test_one_shoot_that_fails_leaves_the_others_and_ends_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    top = several(tmp_path)
    (top / "bread" / "bowl.jpg").write_text("no picture")
    code, out, err = run(capsys, "export", top, "--workers", 1, "--quiet")
    assert (code, out) == (1, "")
    assert err.startswith(f"{top}/bread/job.toml: bowl.jpg: ")
    assert (top / "soup" / "out" / "manifest.json").is_file()


def test_jobs_at_fault_end_with_2_before_anything_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    top = several(tmp_path)
    (top / "bread" / "job.toml").write_text(JOB.replace("title", "titel"), encoding="utf-8")
    (top / "soup" / "bowl.jpg").unlink()
    code, out, err = run(capsys, "export", top)
    assert (code, out) == (2, "")
    assert err.splitlines()[-1] == "3 faults; nothing was written"
    assert {line.partition(": ")[0] for line in err.splitlines()[:-1]} == {
        f"{top}/bread/job.toml",
        f"{top}/soup/job.toml",
    }
    assert list(top.rglob("out")) == []


def test_one_output_folder_for_several_jobs_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    top = several(tmp_path)
    assert run(capsys, "export", top, "--out", top / "all") == (
        2,
        "",
        (
            "--out: it names one folder, and 2 jobs are asked for; "
            "leave it out: each has its own, out beside the job file; or export them one by one\n"
            "1 fault; nothing was written\n"
        ),
    )
    assert run(capsys, "export", top / "soup", "--out", top / "all", "--quiet", "--workers", 1)[0] == 0
    assert (top / "all" / "manifest.json").is_file()


def test_the_output_folder_can_be_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path)
    out = tmp_path / "some" / "where"
    assert run(capsys, "export", job, "--out", out, "--workers", 1, "--quiet")[0] == 0
    assert (out / "manifest.json").is_file()
    assert not (tmp_path / "out").exists()


def test_a_sheet_alone_makes_no_picture_for_an_outlet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "sheet", write_job(tmp_path), "--workers", 1, "--quiet")[0] == 0
    assert (tmp_path / "out" / "sheet" / "index.html").is_file()
    assert not (tmp_path / "out" / "blog").exists()


def test_a_delivered_name_stays_in_the_plan_until_it_is_renamed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(tmp_path, JOB + 'targets = ["blog/letter"]\n')
    run(capsys, "export", job, "--workers", 1, "--quiet")
    job.write_text(job.read_text().replace("Bean soup", "White beans"), encoding="utf-8")
    assert "blog/bean-soup-bowl-letter-600.jpg" in run(capsys, "plan", job)[1]
    assert "blog/white-beans-bowl-letter-600.jpg" in run(capsys, "plan", job, "--out", tmp_path / "new")[1]
    code, out, _ = run(capsys, "export", job, "--workers", 1, "--rename")
    assert code == 0
    assert "renamed: blog/bean-soup-bowl-letter-600.jpg -> blog/white-beans-bowl-letter-600.jpg" in out
    assert [path.name for path in (tmp_path / "out" / "blog").iterdir()] == ["white-beans-bowl-letter-600.jpg"]


def test_targets_lists_the_packaged_ones_and_her_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "mine.toml").write_text(f'outlet = "mine"\nabout = "My own"\n[targets.square]{OWN_TARGET}')
    code, out, _ = run(capsys, "targets", "--profiles", tmp_path)
    assert code == 0
    assert "  mine/square " in out
    assert out.startswith(run(capsys, "targets")[1].rstrip("\n"))


def test_targets_of_a_folder_that_is_none(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "targets", "--profiles", tmp_path / "absent") == (
        2,
        "",
        (
            f"{tmp_path}/absent: there is no such folder; name a folder of outlet profiles that is there\n"
            "1 fault; nothing was written\n"
        ),
    )


def test_the_schema_is_one_and_accepts_a_job(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "schema")
    schema = json.loads(out)
    Draft202012Validator.check_schema(schema)
    assert code == 0
    assert list(Draft202012Validator(schema).iter_errors(tomllib.loads(JOB))) == []


def test_the_schema_of_a_reply_is_another(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "schema", "--of", "reply")
    assert code == 0
    assert json.loads(out)["title"] == "plateline reply"


def test_a_reply_is_taken_and_its_final_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path, HEAD.replace("blog/step", "partner/*") + FRAME)
    code, out, _ = run(capsys, "export", job, "--workers", 1)
    assert (code, "1 rendition waits for approval: bowl/partner/final" in out) == (0, True)
    code, out, err = run(capsys, "reply", job, answer(job, {"bowl": ["approve", "\x1b[31mlovely\u202e"]}))
    assert (code, err) == (0, "")
    assert '   approved by Ines Falkenrath, 2026-11-25\n      "\\x1b[31mlovely\\u202e"\n' in out
    assert out.endswith(f"next: plateline export {job}, which makes what is approved\n")
    code, out, _ = run(capsys, "plan", job)
    assert (code, "      approved by Ines Falkenrath (2026-11-25)\n" in out) == (0, True)
    assert run(capsys, "export", job, "--workers", 1)[0] == 0
    assert (tmp_path / "out" / "partner" / "bean-soup-bowl-final-600.jpg").exists()


def test_an_export_of_what_is_approved_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "export", write_job(tmp_path), "--workers", 1, "--approved")
    assert (code, "1 rendition waits for approval: bowl/blog/step" in out) == (0, True)
    assert not (tmp_path / "out" / "blog").exists()


def test_replies_that_cannot_be_taken_end_with_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path)
    (tmp_path / "cut.json").write_text('{"plateline_reply": 1', encoding="utf-8")
    code, out, err = run(capsys, "reply", job, tmp_path / "cut.json", tmp_path)
    assert (code, out) == (2, "")
    assert err == (
        f"{tmp_path}/cut.json: it ends in the middle; ask for it to be sent again\n"
        f"{tmp_path}: this is a folder; name the reply itself\n"
        "2 faults; nothing was written\n"
    )
    assert not (tmp_path / "replies").exists()
    assert not (tmp_path / "out").exists()


def test_a_run_that_is_stopped_says_that_the_next_goes_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(pipeline.deliver.work, "work_on_frame", stop)
    code, _, err = run(capsys, "export", write_job(tmp_path), "--workers", 1)
    assert (code, err) == (1, "\nstopped; what was finished is kept, the next run goes on from there\n")


def test_a_disk_that_is_full_in_the_middle_is_told_in_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(folder: Path, relative: str, _: bytes) -> bool:
        raise OSError(28, "No space left on device", str(folder / relative))

    monkeypatch.setattr(pipeline.deliver.finish, "write_if_changed", full)
    code, _, err = run(capsys, "export", write_job(tmp_path), "--workers", 1, "--quiet")
    assert (code, err) == (
        1,
        (
            f"{tmp_path}/out/manifest.json: the run stopped here (no space left on device); "
            "mend that and run it again: what was finished is kept\n"
        ),
    )


class _Latin(io.TextIOWrapper):
    """A terminal that knows 256 letters."""

    def __init__(self) -> None:
        super().__init__(io.BytesIO(), encoding="latin-1")


def test_a_terminal_that_cannot_show_a_name_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = _Latin()
    monkeypatch.setattr(sys, "stdout", out)
    job = write_job(tmp_path, HEAD.replace("Bean soup", "熱い") + FRAME.replace("bowl", "熱い"), ("熱い.jpg",))
    assert main(["plan", str(job)]) == 0
    assert rb"\u71b1\u3044.jpg, 600 x 400" in out.buffer.getvalue()  # type: ignore[attr-defined]


@pytest.mark.parametrize("stream", ["stdout", "stderr"])
def test_a_closed_stream_is_no_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stream: str) -> None:
    job = write_job(tmp_path)
    monkeypatch.setattr(sys, stream, None)
    assert main(["export", str(job), "--workers", "1"]) == 0
    assert main(["check", str(tmp_path / "absent.toml")]) == 2


def command(*words: object) -> list[str]:
    return [sys.executable, "-m", "pipeline", *map(str, words)]


@pytest.mark.parametrize("words", [["targets"], ["schema"]])
def test_a_reader_that_goes_away_is_no_fault(words: Sequence[str]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(command(*words), stdout=writing, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_reader_of_the_faults_that_goes_away_is_no_fault_either(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(command("check", tmp_path), stdout=subprocess.PIPE, stderr=writing, text=True, check=False)
    os.close(writing)
    assert done.stdout == ""
    assert done.returncode in {0, 2}


@pytest.mark.parametrize("workers", [1, 2])
def test_an_interrupt_from_the_keyboard_stops_the_run_without_a_traceback(tmp_path: Path, workers: int) -> None:
    frames = tuple(f"frame-{number}.jpg" for number in range(40))
    text = HEAD + "".join(FRAME.replace("bowl.jpg", name) for name in frames)
    words = command("export", write_job(tmp_path, text, frames), "--workers", workers)
    with subprocess.Popen(
        words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as running:
        assert running.stderr
        first = running.stderr.readline()
        os.killpg(running.pid, signal.SIGINT)  # a keyboard interrupts the command and its workers alike
        _, err = running.communicate(timeout=60)
    assert first.startswith("1 of 40 frames, ")
    assert running.returncode == 1
    assert err.endswith("\nstopped; what was finished is kept, the next run goes on from there\n")
    assert "Traceback" not in err
    assert not list((tmp_path / "out").rglob(".unfinished-*"))
    made = list((tmp_path / "out" / "sheet" / "previews").glob("*--step.jpg"))
    assert 1 <= len(made) <= 20, "few further frames were made"


def test_python_m_pipeline_is_the_command() -> None:
    done = subprocess.run(command("--version"), capture_output=True, text=True, check=True)
    assert done.stdout == f"plateline {version('plateline')}\n"
    assert Path(sys.executable).with_name("plateline").exists()


def test_inspect_says_what_it_found_and_is_at_once_done_the_second_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(tmp_path)
    code, first, err = run(capsys, "inspect", job, "--workers", 1)
    assert (code, err) == (0, "1 of 1 frames: bowl.jpg\n")
    assert first.startswith("1. bowl  (bowl.jpg)\n")
    assert "1 of 1 frames looked at" in first
    assert run(capsys, "inspect", job) == (0, first, "")
    code, out, err = run(capsys, "inspect", job, "--json")
    assert (code, err) == (0, "")
    assert [one["frame"] for one in json.loads(out)["frames"]] == ["bowl"]
    assert run(capsys, "check", job)[1].count("not inspected") == 0


def test_inspect_ends_with_1_where_a_frame_cannot_be_read_and_with_2_where_the_job_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(tmp_path, JOB + FRAME.replace("bowl", "bread"), ("bowl.jpg", "bread.jpg"))
    (tmp_path / "bread.jpg").write_bytes(b"no picture")
    code, out, err = run(capsys, "inspect", job, "--workers", 1, "--quiet")
    assert code == 1
    assert "bread" not in out
    assert err.startswith("bread.jpg: ")
    assert run(capsys, "inspect", write_job(tmp_path, JOB.replace("title", "titel")))[0] == 2


def test_what_is_accepted_is_written_and_the_job_can_be_planned(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    composite(3).picture.save(tmp_path / "bowl.jpg")
    job = write_job(tmp_path, JOB.replace("[0.5, 0.5]", '"auto"'))
    code, out, err = run(capsys, "plan", job)
    assert (code, out) == (2, "")
    assert "please point: run plateline inspect job.toml, or write subject = [across, down]" in err
    code, out, _ = run(capsys, "inspect", job, "--workers", 1, "--accept")
    assert code == 0
    assert "written into job.toml: bowl: subject = [" in out
    assert '"auto"' not in job.read_text(encoding="utf-8")
    assert run(capsys, "plan", job)[0] == 0
