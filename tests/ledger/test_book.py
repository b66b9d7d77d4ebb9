"""The ledger, read with sqlite3 directly where it matters what stands in the file."""

from __future__ import annotations

import hashlib
import os
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import pipeline.ledger.book
from pipeline.faults import RequestRefused
from pipeline.ledger.book import FILE, Ledger, file_digest, read_digests, read_made
from pipeline.ledger.made import Made
from pipeline.ledger.tables import VERSION

if TYPE_CHECKING:
    from collections.abc import Iterator

HERO = Made("blog/soup-hero-800.jpg", "bowl.jpg | blog/hero | 800 | jpeg", "p1", "m1", "s1", 1000, 1, 0.25)
STEP = Made("blog/soup-step-720.jpg", "bowl.jpg | blog/step | 720 | jpeg", "p2", "m2", "s2", 2000, 2, None)


def refusal(folder: Path) -> str:
    """Return the one sentence with which both ways of opening refuse a ledger."""
    with pytest.raises(RequestRefused) as opened:
        Ledger(folder)
    with pytest.raises(RequestRefused) as read:
        read_made(folder)
    assert str(opened.value) == str(read.value)
    return str(opened.value)


def test_a_digest_is_sha_256(tmp_path: Path) -> None:
    # Source: FIPS 180-4 example, SHA-256 of "abc" (from memory).
    (tmp_path / "abc").write_bytes(b"abc")
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert expected == file_digest(tmp_path / "abc")
    with Ledger(tmp_path) as ledger:
        assert expected == ledger.digest(tmp_path / "abc")


@pytest.fixture
def digests(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Return the list of the files that were really read from now on."""
    seen: list[Path] = []

    def read(path: Path) -> str:
        seen.append(path)
        return file_digest(path)

    monkeypatch.setattr(pipeline.ledger.book, "file_digest", read)
    return seen


def test_a_file_is_digested_once_also_over_runs(tmp_path: Path, digests: list[Path]) -> None:
    frame = tmp_path / "bowl.jpg"
    frame.write_bytes(b"one")
    for _ in range(2):
        with Ledger(tmp_path) as ledger:
            assert ledger.digest(frame) == ledger.digest(frame) == hashlib.sha256(b"one").hexdigest()
    assert digests == [frame]


def _longer(frame: Path) -> None:
    times = frame.stat()
    frame.write_bytes(b"twoo")
    os.utime(frame, ns=(times.st_atime_ns, times.st_mtime_ns))


def _later(frame: Path) -> None:
    times = frame.stat()
    with frame.open("r+b") as stream:
        stream.write(b"two")
    os.utime(frame, ns=(times.st_atime_ns, times.st_mtime_ns + 1))


def _another(frame: Path) -> None:
    times = frame.stat()
    other = frame.with_name("other")
    other.write_bytes(b"two")
    os.utime(other, ns=(times.st_atime_ns, times.st_mtime_ns))
    other.replace(frame)


@pytest.mark.parametrize("change", [_longer, _later, _another], ids=["size", "time", "inode"])
def test_a_file_is_digested_again_when_one_of_its_three_marks_changes(
    tmp_path: Path, digests: list[Path], change: object
) -> None:
    frame = tmp_path / "bowl.jpg"
    frame.write_bytes(b"one")
    with Ledger(tmp_path) as ledger:
        first = ledger.digest(frame)
        change(frame)  # type: ignore[operator]
        assert ledger.digest(frame) == hashlib.sha256(frame.read_bytes()).hexdigest() != first
    assert digests == [frame, frame]


def test_many_files_are_digested_at_once_and_each_error_is_its_own(tmp_path: Path, digests: list[Path]) -> None:
    frames = [tmp_path / f"{number}.jpg" for number in range(9)]
    for frame in frames:
        frame.write_bytes(frame.name.encode())
    missing, folder = tmp_path / "missing.jpg", tmp_path / "folder.jpg"
    folder.mkdir()
    expected = {frame: hashlib.sha256(frame.name.encode()).hexdigest() for frame in frames}
    with Ledger(tmp_path) as ledger:
        assert ledger.digest(frames[3]) == expected[frames[3]]
        found = ledger.digests([missing, *frames, folder])
        assert isinstance(found.pop(missing), FileNotFoundError)
        assert isinstance(found.pop(folder), IsADirectoryError)
        assert found == expected == ledger.digests(frames)
    assert sorted(digests) == [*frames, folder]


def test_a_digest_can_be_looked_up_without_writing(tmp_path: Path, digests: list[Path]) -> None:
    frame = tmp_path / "bowl.jpg"
    frame.write_bytes(b"one")
    out = tmp_path / "out"
    expected = hashlib.sha256(b"one").hexdigest()
    assert expected == read_digests(out)(frame)
    assert not out.exists()
    out.mkdir()
    with Ledger(out) as ledger:
        ledger.digest(frame)
    before = (out / FILE).read_bytes()
    digests.clear()
    assert expected == read_digests(out)(frame)
    assert digests == [], "the ledger knows it"
    frame.write_bytes(b"two")
    assert hashlib.sha256(b"two").hexdigest() == read_digests(out)(frame)
    assert digests == [frame]
    assert before == (out / FILE).read_bytes()


def test_a_ledger_that_was_taken_away_is_noticed(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.check_place()
        (tmp_path / FILE).rename(tmp_path / "elsewhere")
        with pytest.raises(FileNotFoundError, match="taken away"):
            ledger.check_place()
        (tmp_path / FILE).write_bytes(b"")
        with pytest.raises(FileNotFoundError, match="taken away"):
            ledger.check_place()
        assert ledger.folder == tmp_path


def test_a_frame_that_is_gone_raises_oserror(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger, pytest.raises(FileNotFoundError):
        ledger.digest(tmp_path / "bowl.jpg")


def test_a_frame_in_a_folder_whose_name_is_not_utf_8(tmp_path: Path) -> None:
    frame = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    frame.write_bytes(b"one")
    with Ledger(tmp_path) as ledger:
        assert ledger.digest(frame) == ledger.digest(frame) == hashlib.sha256(b"one").hexdigest()


def test_what_was_recorded_is_known_to_the_next_run(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        assert ledger.made() == {}
        ledger.record([STEP, HERO])
        assert ledger.made() == {HERO.path: HERO, STEP.path: STEP}
    with Ledger(tmp_path) as ledger:
        assert list(ledger.made()) == [HERO.path, STEP.path], "in the order of their paths"
    assert read_made(tmp_path) == {HERO.path: HERO, STEP.path: STEP}


def test_a_row_replaces_what_was_known_of_its_path_or_of_its_use(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO, STEP])
        moved = replace(HERO, path="blog/bean-soup-hero-800.jpg", sha256="s3")
        ledger.record([moved])
        assert ledger.made() == {moved.path: moved, STEP.path: STEP}
        taken_over = replace(STEP, path=moved.path)
        ledger.record([taken_over])
        assert ledger.made() == {moved.path: taken_over}


def test_rows_are_recorded_all_or_not_at_all(tmp_path: Path) -> None:
    def rows() -> Iterator[Made]:
        yield replace(HERO, sha256="new")
        yield replace(STEP, path="blog/new.jpg", identity="new")
        raise KeyboardInterrupt

    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
        with pytest.raises(KeyboardInterrupt):
            ledger.record(rows())
        assert ledger.made() == {HERO.path: HERO}
        ledger.record([STEP])
        assert set(ledger.made()) == {HERO.path, STEP.path}


def test_a_row_that_sqlite_refuses_takes_the_others_with_it(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        with pytest.raises(OSError, match="cannot store TEXT value in INTEGER column"):
            ledger.record([HERO, replace(STEP, size_bytes="many")])  # type: ignore[arg-type]
        assert ledger.made() == {}


PATHS = st.tuples(
    st.text("abc-é熱 ", min_size=1, max_size=6), st.sampled_from(["jpg", "webp", "avif", "png", "tif"])
).map(lambda parts: f"blog/{parts[0]}.{parts[1]}")
ROWS = st.lists(
    st.builds(
        Made, path=PATHS, identity=st.text("ab| ", max_size=3), pixel_key=st.text("0f"), metadata_key=st.just("m"),
        sha256=st.just("s"), size_bytes=st.integers(0, 2**62), mtime_ns=st.integers(-(2**62), 2**62),
        outside_gamut=st.none() | st.floats(0, 1), quality=st.none() | st.integers(1, 100),
        fidelity=st.none() | st.floats(0, 1), total_ink=st.none() | st.floats(0, 400),
        heavy_ink=st.none() | st.floats(0, 400), ink_over=st.none() | st.floats(0, 1),
    ),
    max_size=8,
)  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(ROWS)
def test_the_ledger_is_a_table_with_two_keys(tmp_path: Path, rows: list[Made]) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        if base.execute("SELECT 1 FROM sqlite_schema").fetchone():
            base.execute("DELETE FROM made")
    expected: dict[str, Made] = {}
    with Ledger(tmp_path) as ledger:
        ledger.record(rows[: len(rows) // 2])
        ledger.record(rows[len(rows) // 2 :])
        for row in rows:
            expected = {path: made for path, made in expected.items() if row.identity != made.identity}
            expected[row.path] = row
        assert expected == ledger.made()
    assert expected == read_made(tmp_path)


def test_only_the_ledger_itself_is_left_in_the_folder(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_to_read_what_was_made_writes_nothing(tmp_path: Path) -> None:
    assert read_made(tmp_path) == {}
    assert read_made(tmp_path / "absent") == {}
    assert list(tmp_path.iterdir()) == []
    (tmp_path / FILE).touch()
    assert read_made(tmp_path) == {}
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
    before = (tmp_path / FILE).stat()
    assert read_made(tmp_path) == {HERO.path: HERO}
    after = (tmp_path / FILE).stat()
    assert [path.name for path in tmp_path.iterdir()] == [FILE]
    assert (before.st_mtime_ns, before.st_size) == (after.st_mtime_ns, after.st_size)


def test_what_was_made_can_be_read_while_another_run_writes(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
        assert read_made(tmp_path) == {HERO.path: HERO}


def test_what_a_killed_run_left_in_the_log_is_not_lost(tmp_path: Path) -> None:
    running = tmp_path / "running"
    killed = tmp_path / "killed"
    running.mkdir()
    killed.mkdir()
    with Ledger(running) as ledger:
        ledger.record([HERO])
        for left in running.iterdir():
            (killed / left.name).write_bytes(left.read_bytes())
    assert (killed / f"{FILE}-wal").stat().st_size
    assert read_made(killed) == {HERO.path: HERO}
    with Ledger(killed) as ledger:
        assert ledger.made() == {HERO.path: HERO}


@pytest.mark.parametrize("data", [b"not a database", b"\xff" * 5000, b"SQLite format 3\0" + b"\0" * 4000])
def test_a_file_that_is_no_database(tmp_path: Path, data: bytes) -> None:
    (tmp_path / FILE).write_bytes(data)
    assert refusal(tmp_path).startswith(f"{tmp_path / FILE}: it cannot be used as a ledger (")
    assert refusal(tmp_path).endswith("; move it away; the next export makes a new one")
    assert data == (tmp_path / FILE).read_bytes(), "it is not ours to change"


def test_a_database_of_another_program(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute("CREATE TABLE made (dish TEXT)")
    assert refusal(tmp_path).endswith(
        "it is a database of another program; move it away; the next export makes a new one"
    )


@pytest.mark.parametrize("number", [1, 7])
def test_a_database_of_another_program_with_a_number_like_ours(tmp_path: Path, number: int) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute("CREATE TABLE recipes (dish TEXT)")
        base.execute(f"PRAGMA user_version = {number}")
    assert "it is a database of another program; " in refusal(tmp_path)


def test_a_ledger_of_a_newer_version(tmp_path: Path) -> None:
    with Ledger(tmp_path):
        pass
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute(f"PRAGMA user_version = {VERSION + 1}")
    assert refusal(tmp_path).endswith(
        f"it was written by a newer plateline (its ledger has number {VERSION + 1}, ours {VERSION}); "
        "use that version, or export to a new folder"
    )


def test_a_ledger_that_was_cut_short(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO, *(replace(HERO, path=f"blog/{n}.jpg", identity=str(n)) for n in range(500))])
    whole = (tmp_path / FILE).read_bytes()
    (tmp_path / FILE).write_bytes(whole[: len(whole) // 2])
    said = refusal(tmp_path)
    assert ": it cannot be used as a ledger (" in said or ": it is damaged (" in said
    assert said.endswith("; move it away; the next export makes a new one")


def test_a_ledger_with_a_page_overwritten(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record(replace(HERO, path=f"blog/{n}.jpg", identity=str(n)) for n in range(500))
    data = bytearray((tmp_path / FILE).read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = b"\xa5" * 4096
    (tmp_path / FILE).write_bytes(data)
    assert "; move it away; the next export makes a new one" in refusal(tmp_path)


def test_a_path_that_leads_out_of_the_folder_is_not_believed(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
        for path in ("../frames/bowl.jpg", "/etc/hosts", "blog/../../x"):
            ledger.record([replace(HERO, path=path)])
            with pytest.raises(OSError, match="a path in it leads out of the folder"):
                ledger.made()
    with pytest.raises(RequestRefused, match="a path in it leads out of the folder"):
        read_made(tmp_path)


@pytest.mark.parametrize(
    "change",
    [
        "path = ''",
        "path = 'manifest.json'",
        "path = 'ledger.sqlite'",
        "path = 'blog/a' || char(0) || 'b.jpg'",
        "path = 'blog/a.html'",
    ],
)
def test_a_row_that_we_could_not_have_written_is_not_believed(tmp_path: Path, change: str) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute(f"UPDATE made SET {change}")  # noqa: S608 (the words of this test)
    with pytest.raises(RequestRefused, match="it cannot be used as a ledger"):
        read_made(tmp_path)


@pytest.mark.parametrize("folder", ["absent", "file"])
def test_a_folder_that_cannot_hold_a_ledger(tmp_path: Path, folder: str) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(RequestRefused, match="it cannot be used as a ledger"):
        Ledger(tmp_path / folder)


def test_a_full_disk_in_the_middle_is_told_as_an_oserror(tmp_path: Path) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.record([HERO])
        with closing(sqlite3.connect(tmp_path / FILE)) as base:
            base.execute("PRAGMA journal_mode = WAL")
            pages = base.execute("PRAGMA page_count").fetchone()[0]
        ledger._base.execute(f"PRAGMA max_page_count = {pages}")
        rows = [replace(STEP, path=f"blog/{n}.jpg", identity=str(n)) for n in range(2000)]
        with pytest.raises(OSError, match="database or disk is full") as error:
            ledger.record(rows)
        assert error.value.filename == str(tmp_path / FILE)
        assert ledger.made() == {HERO.path: HERO}
