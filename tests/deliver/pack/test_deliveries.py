"""The record of what was sent: appended to, never rewritten, and every later change of it is seen."""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import resource
import signal
import stat
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.pack import deliveries
from pipeline.deliver.pack.deliveries import append, read_record, record_to_add_to
from pipeline.faults import RequestRefused

if TYPE_CHECKING:
    from pathlib import Path

SHA = "0" * 64


def content(to: str = "Tidewater Beans", **more: Any) -> dict[str, Any]:  # noqa: ANN401 (values of a row)
    return {
        "date": "2026-11-25T14:30:00+01:00",
        "to": to,
        "shoot": "Bean soup",
        "outlet": "partner",
        "only": None,
        "round": {"id": SHA, "number": 2},
        "zip": {"name": "bean-soup-partner-round2.zip", "sha256": SHA, "bytes": 5},
        "files": [{"path": "partner/a.jpg", "sha256": SHA, "picture_sha256": None, "bytes": 5}],
        "licences": [{"renditions": ["bowl/partner/final"], "terms": "Editorial", "ends": "2027-09-30"}],
        "verdicts": [],
        "overridden": [],
        "plateline": "1.0",
        **more,
    }


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """Return a record of three deliveries."""
    path = tmp_path / deliveries.FILE
    for name in ("One", "Two", "Three"):
        append(path, content(name))
    return path


def lines(path: Path) -> list[bytes]:
    return path.read_bytes().split(b"\n")


def test_each_row_follows_on_the_one_before(record: Path) -> None:
    rows = [json.loads(line) for line in record.read_text(encoding="utf-8").splitlines()]
    assert [row["delivery"] for row in rows] == [1, 2, 3]
    assert [row["to"] for row in rows] == ["One", "Two", "Three"]
    assert [row["previous"] for row in rows] == [None, rows[0]["digest"], rows[1]["digest"]]
    read = read_record(record)
    assert read.troubles == ()
    assert [row.digest for row in read.rows] == [row["digest"] for row in rows]


def test_the_digest_is_that_of_the_line_without_it(record: Path) -> None:
    """As the module says, by other means: the text before the last key, closed."""
    for line in lines(record)[:-1]:
        body, _, rest = line.rpartition(b', "digest": "')
        assert hashlib.sha256(body + b"}").hexdigest() == rest.removesuffix(b'"}').decode()


def test_what_stands_there_is_never_touched(record: Path) -> None:
    before = record.read_bytes()
    append(record, content("Four"))
    assert record.read_bytes().startswith(before)


@given(st.text(st.characters(exclude_categories=["Cs"]), max_size=40))
def test_any_words_stay_one_line_and_come_back(tmp_path_factory: pytest.TempPathFactory, words: str) -> None:
    path = tmp_path_factory.mktemp("drawn") / deliveries.FILE
    append(path, content(words, overridden=[words, words]))
    append(path, content())
    read = read_record(path)
    assert (read.troubles, len(read.rows)) == ((), 2)
    assert (read.rows[0].delivery.to, read.rows[0].delivery.overridden) == (words, (words, words))


def test_ten_thousand_letters(tmp_path: Path) -> None:
    path = tmp_path / deliveries.FILE
    append(path, content("é" * 10_000))
    assert read_record(path).rows[0].delivery.to == "é" * 10_000


@pytest.mark.parametrize("number", [1, 2, 3])
def test_a_row_that_was_changed_is_named(record: Path, number: int) -> None:
    changed = lines(record)
    changed[number - 1] = changed[number - 1].replace(b"Bean soup", b"Pea soup")
    record.write_bytes(b"\n".join(changed))
    assert read_record(record).troubles == (f"line {number}, delivery {number}, was changed after it was written",)


def test_a_row_that_was_changed_with_a_digest_of_its_own_is_seen_at_the_next(record: Path) -> None:
    changed = lines(record)
    body = changed[1].rpartition(b', "digest": "')[0].replace(b"Two", b"Somebody else") + b"}"
    changed[1] = body[:-1] + b', "digest": "' + hashlib.sha256(body).hexdigest().encode() + b'"}'
    record.write_bytes(b"\n".join(changed))
    (trouble,) = read_record(record).troubles
    assert trouble.startswith("line 3, delivery 3, does not follow on the row before it: ")


@pytest.mark.parametrize("taken", [0, 1])
def test_a_row_that_was_taken_out_is_seen(record: Path, taken: int) -> None:
    left = lines(record)
    del left[taken]
    record.write_bytes(b"\n".join(left))
    (trouble,) = read_record(record).troubles
    assert "does not follow on the row before it: a row was changed, put in or taken out there" in trouble


def test_rows_that_changed_places_are_seen(record: Path) -> None:
    one, two, *rest = lines(record)
    record.write_bytes(b"\n".join((two, one, *rest)))
    assert len(read_record(record).troubles) == 3


@pytest.mark.parametrize("cut", [1, 40, 400])
def test_a_torn_line_is_told_and_kept_and_the_next_row_has_a_line_of_its_own(record: Path, cut: int) -> None:
    torn = record.read_bytes()[: -1 - cut]
    record.write_bytes(torn)
    row = append(record, content("Four"))
    assert record.read_bytes().startswith(torn + b"\n{")
    read = read_record(record)
    assert [one.delivery.to for one in read.rows] == ["One", "Two", "Four"]
    assert (row.delivery.delivery, row.line) == (3, 4)
    assert read.troubles == ("line 3 is no whole row: a run was stopped while it wrote it, or it was changed",)


def test_a_row_without_its_line_end_is_whole(record: Path) -> None:
    record.write_bytes(record.read_bytes()[:-1])
    append(record, content("Four"))
    read = read_record(record)
    assert (read.troubles, len(read.rows)) == ((), 4)


def test_a_disk_that_is_full_leaves_nothing_of_a_row(record: Path) -> None:
    """The system lets the file grow by 100 bytes and no more (RLIMIT_FSIZE)."""
    before = record.read_bytes()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 100, limits[1]))
    try:
        with pytest.raises(OSError, match="File too large"):
            append(record, content("Four"))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, handler)
    assert record.read_bytes() == before


def _append_many(path: Path, name: str) -> None:
    for _ in range(15):
        append(path, content(name))


def test_two_runs_at_once_wait_for_each_other(tmp_path: Path) -> None:
    path = tmp_path / deliveries.FILE
    context = multiprocessing.get_context("spawn")
    runs = [context.Process(target=_append_many, args=(path, name)) for name in ("One", "Two")]
    for run in runs:
        run.start()
    for run in runs:
        run.join()
    read = read_record(path)
    assert read.troubles == ()
    assert [row.delivery.delivery for row in read.rows] == list(range(1, 31))


def test_a_run_that_is_killed_leaves_whole_rows(tmp_path: Path) -> None:
    path = tmp_path / deliveries.FILE
    program = (
        "import sys; from pathlib import Path; from tests.deliver.pack.test_deliveries import content\n"
        "from pipeline.deliver.pack.deliveries import append\n"
        "print('begun', flush=True)\n"
        "while True: append(Path(sys.argv[1]), content('x' * 5000))\n"
    )
    with subprocess.Popen([sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE) as run:
        assert run.stdout
        run.stdout.readline()
        while not path.exists() or path.stat().st_size < 100_000:
            assert run.poll() is None
        run.kill()
    rows = read_record(path).rows
    append(path, content("after"))
    read = read_record(path)
    assert len(read.rows) == len(rows) + 1
    assert all(row.unchanged for row in read.rows)
    assert not [one for one in read.troubles if "no whole row" not in one]


def test_there_is_none_yet(tmp_path: Path) -> None:
    assert read_record(tmp_path / deliveries.FILE) == deliveries.Record((), ())
    record_to_add_to(tmp_path / deliveries.FILE)
    assert list(tmp_path.iterdir()) == []


def test_a_new_record_may_be_read_by_others_and_written_by_her(tmp_path: Path) -> None:
    append(tmp_path / deliveries.FILE, content())
    assert stat.S_IMODE((tmp_path / deliveries.FILE).stat().st_mode) & 0o133 == 0


@pytest.mark.parametrize("kind", ["link", "folder", "pipe", "huge"])
def test_what_is_no_record_is_refused_and_not_written_to(
    tmp_path: Path, kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / deliveries.FILE
    if kind == "link":
        (tmp_path / "elsewhere").write_bytes(b"")
        path.symlink_to(tmp_path / "elsewhere")
    elif kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        monkeypatch.setattr(deliveries, "_MOST_BYTES", 3)
        path.write_bytes(b"1234")
    sentence = (
        "it is a link" if kind == "link" else r"it cannot be used \(this is no plain file, or larger than any record\)"
    )
    with pytest.raises(RequestRefused, match=f"deliveries.jsonl: {sentence}; put the file back as it was"):
        record_to_add_to(path)
    if kind == "link":
        with pytest.raises(OSError, match="symbolic links"):
            append(path, content())
        assert (tmp_path / "elsewhere").read_bytes() == b""


@pytest.mark.parametrize("line", [b"{}", b"[]", b"null", b'{"plateline_delivery": 2}', b"\xff\xfe", b"{" * 5000])
def test_a_line_of_somebody_else_is_told(record: Path, line: bytes) -> None:
    with record.open("ab") as stream:
        stream.write(line + b"\n")
    read = read_record(record)
    assert len(read.rows) == 3
    assert read.troubles == ("line 4 is no whole row: a run was stopped while it wrote it, or it was changed",)
