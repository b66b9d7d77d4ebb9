"""Bad input: each gets one clear sentence and the right exit code, and one bad frame never stops the others.

The whole of what is said is compared, so that a change of wording is a decision and not an accident.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.cli import main
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, frame, write_job

if TYPE_CHECKING:
    from collections.abc import Callable

if TYPE_CHECKING:
    Run = Callable[..., tuple[int, list[str]]]

ONE_FAULT = "1 fault; nothing was written"
PLACE = "job.toml: frames[1] bowl.jpg: "


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, list[str]]]:
    """Return `run(verb, path, *options)`: the exit code and the lines of the error stream."""

    def run_it(*words: object) -> tuple[int, list[str]]:
        capsys.readouterr()
        code = main([str(word) for word in words])
        return code, capsys.readouterr().err.splitlines()

    return run_it


def refused(code_and_lines: tuple[int, list[str]]) -> str:
    """Return the one sentence of a refused request."""
    code, lines = code_and_lines
    assert (code, len(lines), lines[-1]) == (2, 2, ONE_FAULT)
    return lines[0]


VERBS = ["check", "plan", "export", "sheet"]


@pytest.mark.parametrize("verb", VERBS)
def test_a_missing_job(tmp_path: Path, run: Run, verb: str) -> None:
    assert refused(run(verb, tmp_path / "job.toml")) == (
        f"{tmp_path}/job.toml: there is no such file; name a TOML file that is there"
    )
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("verb", VERBS)
def test_a_missing_frame(tmp_path: Path, run: Run, verb: str) -> None:
    job = write_job(tmp_path, JOB.replace("bowl.jpg", "bowk.jpg"))
    assert refused(run(verb, job)) == (
        "job.toml: frames[1] bowk.jpg: file: there is no such file; "
        "file names a picture, as seen from the job file's folder; did you mean 'bowl.jpg'?"
    )
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            JOB + 'targets = ["feed/tal"]\n',
            (
                "targets: no target is called 'feed/tal'; known are feed/square, feed/tall, feed/two-three, "
                "feed/vertical, feed/avatar; did you mean 'feed/tall'?"
            ),
        ),
        (
            JOB.replace("[0.5, 0.5]", "[1.5, 0.5]"),
            (
                "subject: found [1.5, 0.5]; "
                'write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge), or "auto"'
            ),
        ),
        (
            JOB + "keep = [0.1, 0.1, 0.9, 1.1]\n",
            (
                "keep: found [0.1, 0.1, 0.9, 1.1]; "
                "write [left, top, right, bottom] as fractions of the frame, from 0 to 1"
            ),
        ),
        (
            JOB + "keep = [0.4, 0.2, 0.4, 0.8]\n",
            (
                "keep: found [0.4, 0.2, 0.4, 0.8]; this box is empty; "
                "write it as [left, top, right, bottom] with left < right and top < bottom"
            ),
        ),
    ],
    ids=["unknown target", "subject outside", "keep outside", "keep empty"],
)
def test_what_a_frame_cannot_ask_for(tmp_path: Path, run: Run, text: str, sentence: str) -> None:
    job = write_job(tmp_path, text)
    for verb in VERBS:
        assert refused(run(verb, job)) == PLACE + sentence
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("slug", ["bowl", "BOWL", "Bówl"])
def test_two_frames_of_one_name_also_when_they_differ_in_case_only(tmp_path: Path, run: Run, slug: str) -> None:
    text = JOB + FRAME.replace("bowl.jpg", "bread.jpg") + f'slug = "{slug}"\n'
    job = write_job(tmp_path, text, ("bowl.jpg", "bread.jpg"))
    assert refused(run("export", job)) == (
        "job.toml: frames[2] bread.jpg: slug: its files would be named 'bowl', as those of frames[1] bowl.jpg are; "
        "give each frame a slug of its own"
    )
    assert not (tmp_path / "out").exists()


def test_two_frames_whose_files_differ_in_case_only(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path, JOB + FRAME.replace("bowl.jpg", "b/BOWL.JPG"), ("bowl.jpg", "b/BOWL.JPG"))
    assert refused(run("export", job)) == (
        "job.toml: frames[2] b/BOWL.JPG: slug: its files would be named 'bowl', as those of frames[1] bowl.jpg are; "
        "give each frame a slug of its own"
    )


def test_two_renditions_of_one_name(tmp_path: Path, run: Run) -> None:
    (tmp_path / "own").mkdir()
    profile = 'outlet = "mine"\nabout = "x"\nname = "{frame}-{width}"\n'
    targets = "".join(f"[targets.{name}]{OWN_TARGET}" for name in ("one", "two"))
    (tmp_path / "own" / "mine.toml").write_text(profile + targets)
    head = 'profiles_folder = "own"\n' + HEAD.replace('"blog"', '"mine"').replace("blog/step", "mine/*")
    assert refused(run("export", write_job(tmp_path, head + FRAME))) == (
        "job.toml: both bowl/mine/one and bowl/mine/two would be written to mine/bowl-100.jpg; "
        "put {target} into the name of the outlet profile 'mine'"
    )
    assert not (tmp_path / "out").exists()


def _cut_short(path: Path) -> None:
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])


def _text(path: Path) -> None:
    path.write_text("Shopping list: beans, tomatoes, basil\n")


def _empty(path: Path) -> None:
    path.write_bytes(b"")


CUT_SHORT = "is cut short: part of the picture is missing; copy it from the card again, or export it again"
FORMATS = "a frame is a JPEG, TIFF, PNG, WebP, AVIF, HEIC or camera raw file"
NO_PICTURE = f"is no picture: it looks like a text file; {FORMATS}"


@pytest.mark.parametrize(
    ("name", "spoil", "sentence"),
    [
        ("bad.jpg", _cut_short, CUT_SHORT),
        ("bad.png", _cut_short, CUT_SHORT),
        ("bad.tif", _cut_short, CUT_SHORT),
        ("bad.webp", _cut_short, CUT_SHORT),
        ("bad.jpg", _text, NO_PICTURE),
        ("bad.jpg", _empty, "is empty (0 bytes); copy it from the card again"),
    ],
    ids=["half a JPEG", "half a PNG", "half a TIFF", "half a WebP", "text", "0 bytes"],
)
def test_one_bad_frame_never_stops_the_others(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, spoil: Callable[[Path], None], sentence: str
) -> None:
    text = HEAD + FRAME.replace("bowl.jpg", name) + FRAME + FRAME.replace("bowl.jpg", "bread.jpg")
    job = write_job(tmp_path, text, (name, "bowl.jpg", "bread.jpg"))
    spoil(tmp_path / name)
    assert main(["export", str(job), "--workers", "1"]) == 1
    told = capsys.readouterr()
    assert told.err.splitlines()[-1] == f"{name}: {sentence}"
    assert "12 files rendered, 0 unchanged" in told.out
    assert told.out.splitlines()[-2].endswith(", 1 fault, told below")
    names = {path.name for path in (tmp_path / "out" / "blog").iterdir()}
    assert names == {
        f"bean-soup-{slug}-step-{width}.{ending}"
        for slug in ("bowl", "bread")
        for width in (480, 600)
        for ending in ("jpg", "webp")
    }
    for path in (tmp_path / "out" / "blog").glob("*.jpg"):
        with Image.open(path) as image:
            image.load()
    manifest = json.loads((tmp_path / "out" / "manifest.json").read_text(encoding="utf-8"))
    assert sorted(file["path"] for one in manifest["renditions"] for file in one["files"]) == sorted(
        f"blog/{one}" for one in names
    )


def test_a_frame_that_was_mended_is_made_at_the_next_run(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path, JOB + FRAME.replace("bowl", "bread"), ("bowl.jpg", "bread.jpg"))
    whole = (tmp_path / "bread.jpg").read_bytes()
    (tmp_path / "bread.jpg").write_bytes(whole[: len(whole) // 2])
    assert run("export", job, "--workers", 1, "--quiet") == (1, [f"bread.jpg: {CUT_SHORT}"])
    (tmp_path / "bread.jpg").write_bytes(whole)
    assert run("export", job, "--workers", 1, "--quiet") == (0, [])
    assert len(list((tmp_path / "out" / "blog").iterdir())) == 8


@pytest.mark.parametrize("verb", ["check", "plan"])
def test_a_bad_frame_is_told_before_anything_is_made(tmp_path: Path, run: Run, verb: str) -> None:
    job = write_job(tmp_path, JOB + FRAME.replace("bowl", "bread"), ("bowl.jpg", "bread.jpg"))
    _text(tmp_path / "bread.jpg")
    assert run(verb, job) == (1, [f"bread.jpg: {NO_PICTURE}"])


@pytest.mark.parametrize("verb", ["export", "sheet"])
@pytest.mark.parametrize(
    ("out", "found"),
    [
        ("bowl.jpg", "{folder}/bowl.jpg is no folder"),
        ("bowl.jpg/out", "{folder}/bowl.jpg is no folder"),
        ("a" * 300, "nothing can be written there (file name too long)"),
    ],
    ids=["a file", "below a file", "a name too long"],
)
def test_an_output_folder_that_cannot_be_written(tmp_path: Path, run: Run, verb: str, out: str, found: str) -> None:
    job = write_job(tmp_path)
    before = (tmp_path / "bowl.jpg").read_bytes()
    assert refused(run(verb, job, "--out", tmp_path / out)) == (
        f"{tmp_path / out}: {found.format(folder=tmp_path)}; name a folder of yours with --out, or free some space"
    )
    assert before == (tmp_path / "bowl.jpg").read_bytes()


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="judge missing: a file system that nobody can write to")
def test_an_output_folder_on_a_file_system_that_nobody_can_write_to(tmp_path: Path, run: Run) -> None:
    assert refused(run("export", write_job(tmp_path), "--out", "/proc/out")) == (
        "/proc/out: nothing can be written there (no such file or directory); "
        "name a folder of yours with --out, or free some space"
    )


def test_a_file_where_a_folder_of_pictures_should_be(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path, JOB + 'targets = ["blog/letter", "feed/tall"]\n')
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "blog").touch()
    code, lines = run("export", job, "--workers", 1, "--quiet")
    assert (code, len(lines)) == (1, 1)
    assert lines[0].startswith("blog/bean-soup-bowl-letter-600.jpg: it could not be written (")
    assert [path.name for path in (tmp_path / "out" / "feed").iterdir()] == ["bean-soup-bowl-tall-320.jpg"]


def test_a_link_that_leads_out_of_the_output_folder_is_not_followed(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path, JOB + 'targets = ["blog/letter", "feed/tall"]\n')
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "blog").symlink_to(tmp_path / "elsewhere")
    code, lines = run("export", job, "--workers", 1, "--quiet")
    assert (code, lines) == (
        1,
        [
            (
                "blog/bean-soup-bowl-letter-600.jpg: it could not be written (it leads out of the output folder); "
                "free some space or mend the folder"
            )
        ],
    )
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_ledger_that_is_none(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "ledger.sqlite").write_text("her notes")
    for verb in ("export", "plan"):
        assert refused(run(verb, job)) == (
            f"{tmp_path}/out/ledger.sqlite: it cannot be used as a ledger (file is not a database); "
            "move it away; the next export makes a new one"
        )
    assert (tmp_path / "out" / "ledger.sqlite").read_text() == "her notes"


def test_only_what_matches_nothing(tmp_path: Path, run: Run) -> None:
    job = write_job(tmp_path)
    assert refused(run("export", job, "--only", "bowl/blog/stp")) == (
        "--only: nothing in this job matches 'bowl/blog/stp'; "
        "it is matched against frame/outlet/target, such as bowl/blog/step; did you mean 'bowl/blog/step'?"
    )
    assert not (tmp_path / "out").exists()


def test_eight_different_faults_are_all_told_and_nothing_is_written(tmp_path: Path, run: Run) -> None:
    text = (
        HEAD.replace('"partner"]', '"partnr"]').replace("title", "titel")
        + '[credit]\nlicence_url = "larder.example"\n'
        + FRAME.replace("[0.5, 0.5]", "[0.5, 1.5]")
        + 'keep = [0.3, 0.3, 0.3, 0.9]\ntargets = ["blog/hro"]\n'
        + FRAME.replace("bowl.jpg", "absent.jpg")
    )
    code, lines = run("export", write_job(tmp_path, text))
    assert (code, lines) == (
        2,
        [
            (
                "job.toml: shoot: titel: 'titel' is no key of this table; its keys are "
                f"{', '.join(_shoot_keys())}; did you mean 'title'?"
            ),
            'job.toml: shoot: title: nothing is given; write, for example, title = "Tomato and white bean soup"',
            'job.toml: credit: licence_url: found "larder.example"; write a whole web address, beginning with https://',
            (
                f"{PLACE}subject: found [0.5, 1.5]; "
                'write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge), or "auto"'
            ),
            (
                f"{PLACE}keep: found [0.3, 0.3, 0.3, 0.9]; this box is empty; "
                "write it as [left, top, right, bottom] with left < right and top < bottom"
            ),
            (
                "job.toml: profiles[4]: no outlet is called 'partnr'; the outlets are blog, feed, partner, print; "
                "did you mean 'partner'?"
            ),
            (
                f"{PLACE}targets: no target is called 'blog/hro'; known are blog/hero, blog/step, blog/card-square, "
                "blog/card-four-three, blog/card-wide, blog/link-preview, blog/letter, blog/video-still; "
                "did you mean 'blog/hero'?"
            ),
            (
                "job.toml: frames[2] absent.jpg: file: there is no such file; "
                "file names a picture, as seen from the job file's folder"
            ),
            "8 faults; nothing was written",
        ],
    )
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bowl.jpg", "job.toml"]


def _shoot_keys() -> list[str]:
    from pipeline.job.model import Shoot  # noqa: PLC0415

    return list(Shoot.model_fields)


# The command itself, in a process of its own: nothing but sentences may reach the person.


def command(*words: object, out: int | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *map(str, words)],
        stdout=out or subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )


def test_the_command_ends_with_2_for_a_wrong_request(tmp_path: Path) -> None:
    done = command("export", write_job(tmp_path, JOB.replace("[0.5, 0.5]", "[2, 2]")))
    assert (done.returncode, done.stdout, len(done.stderr.splitlines())) == (2, "", 2)
    assert done.stderr.startswith(f"{PLACE}subject: found [2, 2]; ")


def test_the_command_ends_with_1_for_a_bad_frame_among_good_ones_made_side_by_side(tmp_path: Path) -> None:
    text = JOB + FRAME.replace("bowl", "bread") + FRAME.replace("bowl", "bad")
    job = write_job(tmp_path, text, ("bowl.jpg", "bread.jpg", "bad.jpg"))
    _cut_short(tmp_path / "bad.jpg")
    done = command("export", job, "--workers", 2, "--quiet")
    assert (done.returncode, done.stdout, done.stderr) == (1, "", f"bad.jpg: {CUT_SHORT}\n")
    assert len(list((tmp_path / "out" / "blog").iterdir())) == 8


@pytest.mark.parametrize(
    "data", [b"\xff\xd8\xff\xe0junk", b"a = " + b"[" * 100_000, b"a = 1e400", b"a = " + b"9" * 9000, b"\0"]
)
def test_no_job_file_brings_the_command_down(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "job.toml").write_bytes(data)
    done = command("check", tmp_path / "job.toml")
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr.splitlines()[-1].endswith("; nothing was written")


def test_a_full_disk_for_the_answer_is_told(tmp_path: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("judge missing: a device that is always full")
    with Path("/dev/full").open("wb") as full:
        done = command("plan", write_job(tmp_path), out=full.fileno())
    assert (done.returncode, done.stderr) == (
        1,
        (
            "the output: the run stopped here (no space left on device); "
            "mend that and run it again: what was finished is kept\n"
        ),
    )


def test_a_frame_of_another_folder_is_never_written(tmp_path: Path, run: Run) -> None:
    picture = frame(tmp_path / "blog" / "bean-soup-bowl-step-480.jpg")
    before = picture.read_bytes()
    text = HEAD + FRAME.replace("bowl.jpg", "blog/bean-soup-bowl-step-480.jpg") + 'slug = "bowl"\n'
    job = write_job(tmp_path, text, ())
    assert "this file would be written over by blog/bean-soup-bowl-step-480.jpg; name another --out" in refused(
        run("export", job, "--out", tmp_path)
    )
    assert before == picture.read_bytes()


def test_a_frame_cut_short_that_stands_in_a_pair_too_is_told_once(tmp_path: Path, run: Run) -> None:
    pair = '\n[[pairs]]\npair = ["bowl", "spoon"]\ntargets = ["feed/two-up"]\nalt = "Soup, and a spoon"\n'
    spoon = FRAME.replace("bowl", "spoon").replace("soup", "spoon")
    job = write_job(tmp_path, JOB + spoon + pair, ("bowl.jpg", "spoon.jpg"))
    whole = (tmp_path / "spoon.jpg").read_bytes()
    (tmp_path / "spoon.jpg").write_bytes(whole[: len(whole) * 2 // 3])
    code, lines = run("export", job, "--workers", "1", "--quiet")
    assert code == 1
    assert [line.partition(": ")[0] for line in lines] == ["spoon.jpg"]
    assert not list((tmp_path / "out" / "feed").glob("*two-up*"))
    assert len(list((tmp_path / "out" / "blog").glob("*bowl-step*"))) > 0
