"""What the job makes no longer: listed, removed where she asks for it, and never what is hers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.ledger.book import read_made
from tests.small_shoot import FRAME, HEAD, write_job

if TYPE_CHECKING:
    from pathlib import Path

TWO = HEAD + FRAME + FRAME.replace("bowl", "bread")
ONE = HEAD + FRAME
Told = tuple[int, str, str]


def run(capsys: pytest.CaptureFixture[str], *words: object) -> Told:
    capsys.readouterr()
    code = main(["export", *map(str, words)])
    told = capsys.readouterr()
    return code, told.out, told.err


def files(out: Path) -> set[str]:
    return {path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file()}


def pictures(out: Path) -> set[str]:
    return {path for path in files(out) if path.endswith((".jpg", ".webp", ".avif"))}


@pytest.fixture
def job(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """Return a job of one frame, exported when it had two."""
    job = write_job(tmp_path, TWO, ("bowl.jpg", "bread.jpg"))
    assert run(capsys, job, "--workers", 1, "--quiet")[0] == 0
    return write_job(tmp_path, ONE)


def test_a_list_removes_nothing(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = job.parent / "out"
    before = {path: (out / path).stat().st_mtime_ns for path in files(out)}
    code, said, err = run(capsys, job, "--prune", "list")
    bread = {path for path in pictures(out) if "bread" in path}
    assert len(bread) > 3
    assert (code, err) == (0, "")
    assert {line.removeprefix("no longer made: ") for line in said.splitlines()[:-1]} == bread
    assert said.endswith(f"{out}: `--prune remove` would remove {len(bread)} files; nothing was written\n")
    assert {path: (out / path).stat().st_mtime_ns for path in files(out)} == before


def test_what_is_removed_is_what_was_listed_and_the_ledger_forgets_it(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = job.parent / "out"
    before = pictures(out)
    code, said, err = run(capsys, job, "--workers", 1, "--prune", "remove")
    left = {path for path in before if "bread" not in path}
    assert code == 0, err
    assert pictures(out) == left == set(read_made(out))
    assert f"{out}: {len(before - left)} files removed\n" in said
    assert "bread" not in (out / "manifest.json").read_text(encoding="utf-8")
    assert (job.parent / "bread.jpg").is_file()
    assert run(capsys, job, "--prune", "list") == (0, f"{out}: nothing in it was made by an earlier export alone\n", "")


def test_what_she_changed_or_put_there_or_uses_stays(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = job.parent / "out"
    changed, used, *_ = sorted(path for path in pictures(out) if path.startswith("blog/") and "bread" in path)
    (out / changed).write_bytes(b"retouched by hand")
    (out / "blog" / "mine.jpg").write_bytes(b"mine")
    write_job(job.parent, ONE + FRAME.replace("bowl.jpg", f"out/{used}").replace("alt", 'slug = "used"\nalt'))
    whole = (out / used).read_bytes()
    code, said, err = run(capsys, job, "--workers", 1, "--prune", "remove")
    assert code == 0, err
    for path in (changed, used):
        assert f"yours now (changed, or a frame of the job), stays: {path}\n" in said
    assert (out / changed).read_bytes() == b"retouched by hand"
    assert (out / used).read_bytes() == whole
    assert (out / "blog" / "mine.jpg").read_bytes() == b"mine"
    assert changed in read_made(out), "what was not removed is not forgotten"


def test_folders_are_removed_where_nothing_is_left_in_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path, ONE + 'targets = ["blog/step", "feed/square"]\n')
    assert run(capsys, job, "--workers", 1, "--quiet")[0] == 0
    assert (tmp_path / "out" / "feed").is_dir()
    write_job(tmp_path, ONE)
    assert run(capsys, job, "--workers", 1, "--quiet", "--prune", "remove") == (0, "", "")
    assert not (tmp_path / "out" / "feed").exists()
    assert (tmp_path / "out" / "blog").is_dir()


def test_nothing_is_removed_where_the_export_is_not_whole(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = pictures(job.parent / "out")
    whole = (job.parent / "bowl.jpg").read_bytes()
    (job.parent / "bowl.jpg").write_bytes(whole[: len(whole) // 2])
    assert run(capsys, job, "--workers", 1, "--prune", "remove")[0] == 1
    (job.parent / "bowl.jpg").write_bytes(b"no picture")
    code, _, err = run(capsys, job, "--prune", "list")
    assert code == 2
    assert err.startswith("bowl.jpg: ")
    assert pictures(job.parent / "out") == before


def test_a_link_in_the_place_of_a_file_is_not_followed(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = job.parent / "out"
    path = next(path for path in sorted(pictures(out)) if path.startswith("blog/") and "bread" in path)
    elsewhere = job.parent / "elsewhere.jpg"
    (out / path).rename(elsewhere)
    (out / path).symlink_to(elsewhere)
    code, _, err = run(capsys, job, "--workers", 1, "--prune", "remove")
    assert code == 1
    assert err.startswith(f"{path}: it could not be read (it leads out of the output folder)")
    assert elsewhere.is_file()
    assert (out / path).is_symlink()


@pytest.mark.parametrize("words", [["--watch"], ["--only", "*"]], ids=" ".join)
def test_it_goes_by_the_whole_job(job: Path, capsys: pytest.CaptureFixture[str], words: list[str]) -> None:
    code, _, err = run(capsys, job, "--prune", "remove", *words)
    assert code == 2
    assert err.startswith("--prune: it goes by the whole job; leave out --watch and --only\n")
