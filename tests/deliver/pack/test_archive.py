"""The zip itself, read by Python's zipfile, Info-ZIP's unzip and libarchive's bsdtar."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import zipfile
from datetime import date
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.pack.archive import Member, first_free, is_safe, member_of, put_in_place, stamp, unfinished_zip
from pipeline.faults import RequestRefused

if TYPE_CHECKING:
    from pathlib import Path

DAY = date(2026, 9, 12)
CONTENT = {"SHA256SUMS": b"sums\n", "a/b--c.jpg": bytes(range(256)) * 300, "a/empty.txt": b""}


def written(path: Path, content: dict[str, bytes] = CONTENT, day: date = DAY) -> Path:
    """Write a zip to a path as a pack does."""
    with unfinished_zip(path, "top", [member_of(name, data) for name, data in content.items()], day) as beside:
        put_in_place(beside, path, replace=True)
    return path


def test_python_reads_it(tmp_path: Path) -> None:
    with zipfile.ZipFile(written(tmp_path / "a.zip")) as archive:
        assert archive.testzip() is None
        assert {one: archive.read(one) for one in archive.namelist()} == {f"top/{k}": v for k, v in CONTENT.items()}
        for one in archive.infolist():
            assert one.compress_type == zipfile.ZIP_STORED
            assert (one.date_time, one.create_system, one.external_attr >> 16) == ((2026, 9, 12, 0, 0, 0), 3, 0o100644)
            assert (one.extra, one.comment, one.flag_bits) == (b"", b"", 0)


@pytest.mark.parametrize(
    ("judge", "words"),
    [
        ("unzip", ["unzip", "-q", "-d", "{folder}", "{zip}"]),
        ("bsdtar", ["bsdtar", "-x", "-f", "{zip}", "-C", "{folder}"]),
    ],
)
def test_others_unpack_it(tmp_path: Path, judge: str, words: list[str]) -> None:
    if shutil.which(judge) is None:
        pytest.skip(f"judge missing: {judge}")
    folder = tmp_path / "into"
    folder.mkdir()
    path = written(tmp_path / "a.zip")
    subprocess.run([word.format(folder=folder, zip=path) for word in words], check=True)
    found = {one.relative_to(folder).as_posix(): one.read_bytes() for one in sorted(folder.rglob("*")) if one.is_file()}
    assert found == {f"top/{name}": data for name, data in CONTENT.items()}
    assert all((folder / name).stat().st_mode & 0o777 == 0o644 for name in found)


def test_unzip_finds_nothing_wrong_with_it(tmp_path: Path) -> None:
    if shutil.which("unzip") is None:
        pytest.skip("judge missing: unzip")
    done = subprocess.run(["unzip", "-t", written(tmp_path / "a.zip")], capture_output=True, text=True, check=True)
    assert "No errors detected" in done.stdout


def test_the_same_content_gives_the_same_bytes(tmp_path: Path) -> None:
    """Whatever the times and permissions of the files, the zone and the language of the machine."""
    first = written(tmp_path / "a.zip").read_bytes()
    file = tmp_path / "file.jpg"
    file.write_bytes(CONTENT["a/b--c.jpg"])
    file.chmod(0o600)
    os.utime(file, (1, 1))
    program = """
import sys
from datetime import date
from pathlib import Path
from pipeline.deliver.pack.archive import Member, member_of, put_in_place, unfinished_zip
folder = Path(sys.argv[1])
big = member_of("a/b--c.jpg", (folder / "file.jpg").read_bytes())
members = [member_of("SHA256SUMS", b"sums\\n"), Member(big.name, folder / "file.jpg", big.size, big.sha256),
           member_of("a/empty.txt", b"")]
with unfinished_zip(folder / "b.zip", "top", members, date(2026, 9, 12)) as beside:
    put_in_place(beside, folder / "b.zip", replace=False)
"""
    elsewhere = {**os.environ, "TZ": "Pacific/Kiritimati", "LC_ALL": "C", "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-c", program, str(tmp_path)], env=elsewhere, check=True, umask=0o077)
    assert first == (tmp_path / "b.zip").read_bytes()


@given(st.text(st.characters(codec="utf-8"), max_size=40))
def test_a_safe_name_stays_below_the_folder_it_is_unpacked_in(name: str) -> None:
    if is_safe(name):
        parts = name.split("/")
        assert all(part and not part.startswith((".", "-")) for part in parts)
        assert name.isascii()
        assert name.isprintable()
        assert not set(name) & set('\\:*?"<>| ')


@pytest.mark.parametrize(
    "name",
    ["../a", "a/../b", "/a", "a//b", "a/", "", ".", ".a", "a/.b", "a\nb", "a\\b", "c:a", "-rf", "é", "a b", "x" * 241],
)
def test_a_name_that_some_system_cannot_unpack_is_none(tmp_path: Path, name: str) -> None:
    assert not is_safe(name)
    with pytest.raises(RequestRefused, match="not every system can unpack this name; give its frame a shorter slug"):
        written(tmp_path / "a.zip", {name: b""})
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_another_one_by_now_is_told_and_nothing_stays(tmp_path: Path) -> None:
    (tmp_path / "file.jpg").write_bytes(b"changed")
    member = Member("file.jpg", tmp_path / "file.jpg", 7, member_of("", b"as judged").sha256)
    with (
        pytest.raises(RequestRefused, match=r"^file.jpg: it changed while it was packed; leave the folder alone"),
        unfinished_zip(tmp_path / "a.zip", "top", [member], DAY),
    ):
        pass
    assert [one.name for one in tmp_path.iterdir()] == ["file.jpg"]


def test_what_a_killed_run_left_is_swept_away_and_nothing_else(tmp_path: Path) -> None:
    dead = subprocess.run(
        [sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True
    )
    gone = tmp_path / f".unfinished-{dead.stdout.strip()}-a.zip"
    kept = [
        tmp_path / f".unfinished-{os.getppid()}-a.zip",  # still at work
        tmp_path / ".unfinished-mine.zip",
        tmp_path / f".unfinished-{dead.stdout.strip()}-a.jpg",
        tmp_path / ".unfinished-999999999999999999999-a.zip.txt",
    ]
    for path in (gone, *kept):
        path.write_bytes(b"")
    written(tmp_path / "b.zip")
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(["b.zip", *(path.name for path in kept)])


def test_another_zip_is_not_written_over_unless_that_is_asked(tmp_path: Path) -> None:
    path = written(tmp_path / "a.zip")
    other = {**CONTENT, "more.txt": b"more"}
    with unfinished_zip(path, "top", [member_of(*one) for one in other.items()], DAY) as beside:
        with pytest.raises(RequestRefused, match=r"a.zip: another file is there, of other content; name another"):
            put_in_place(beside, path, replace=False)
        assert put_in_place(beside, path, replace=True)
    with unfinished_zip(path, "top", [member_of(*one) for one in other.items()], DAY) as beside:
        assert not put_in_place(beside, path, replace=False)
    with zipfile.ZipFile(path) as archive:
        assert archive.read("top/more.txt") == b"more"
    assert [one.name for one in tmp_path.iterdir()] == ["a.zip"]


@pytest.mark.parametrize("kind", ["link", "folder"])
def test_what_is_no_file_is_never_replaced(tmp_path: Path, kind: str) -> None:
    path = tmp_path / "a.zip"
    if kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(written(tmp_path / "real.zip"))
    with (
        unfinished_zip(path, "top", [member_of("a", b"")], DAY) as beside,
        pytest.raises(RequestRefused, match="another file is there"),
    ):
        put_in_place(beside, path, replace=True)
    assert path.is_symlink() or path.is_dir()


def test_the_first_name_that_is_free(tmp_path: Path) -> None:
    path = tmp_path / "round1.zip"
    with unfinished_zip(path, "top", [member_of("a", b"")], DAY) as beside:
        assert first_free(beside, path) == path
        (tmp_path / "round1.zip").write_bytes(b"another")
        assert first_free(beside, path).name == "round1-2.zip"
        (tmp_path / "round1-2.zip").symlink_to(beside)
        assert first_free(beside, path).name == "round1-3.zip"
        (tmp_path / "round1-3.zip").write_bytes(beside.read_bytes())
        assert first_free(beside, path).name == "round1-3.zip"


# APPNOTE 4.4.6: MS-DOS dates begin in 1980 and end in 2107.
@pytest.mark.parametrize(
    ("day", "said"),
    [
        ("2026-09-12", DAY),
        (None, date(1980, 1, 1)),
        ("1850-01-01", date(1980, 1, 1)),
        ("9999-12-31", date(2107, 12, 31)),
        ("soon", date(1980, 1, 1)),
    ],
)
def test_the_date_of_everything_in_it(tmp_path: Path, day: str | None, said: date) -> None:
    assert said == stamp(day)
    with zipfile.ZipFile(written(tmp_path / "a.zip", day=stamp(day))) as archive:
        assert {one.date_time[:3] for one in archive.infolist()} == {(said.year, said.month, said.day)}
