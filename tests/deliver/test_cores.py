"""Threads that help with a frame's work: what comes of it is the same, whoever does it and whenever help comes."""

from __future__ import annotations

import io
import re
import threading
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from pipeline.deliver.cores import Cores
from pipeline.deliver.export import Asked, export
from pipeline.deliver.worker import Worker
from pipeline.ledger.book import read_made
from pipeline.render.each import in_turn
from tests.small_shoot import HEAD, asked, frame, own_target, write_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from pipeline.deliver.shoot import Summary

NAMES = ("bowl.jpg", "bread.jpg", "plum.jpg")
# Six renditions of three shapes, two of each shape; some of them in formats that take long.
RATIOS = (("3:2", "jpeg"), ("1:1", "jpeg"), ("4:5", "webp"), ("3:2", "webp"), ("1:1", "tiff"), ("4:5", "jpeg"))
TARGETS = "".join(
    f'\n[targets."feed/t{place}"]' + own_target(ratio=ratio, formats=[kind], widths=[300 + 10 * place])
    for place, (ratio, kind) in enumerate(RATIOS)
)
ALL = [f"feed/t{place}" for place in range(len(RATIOS))]
LONGEST_S = 60
TARGET = re.compile(r"\bt\d")


@given(st.lists(st.integers(-99, 99), max_size=12), st.integers(1, 5))
def test_results_stand_in_the_order_of_the_things(items: list[int], threads: int) -> None:
    cores = Cores()
    cores.allow(threads)
    assert cores.each(lambda item: item**3, items) == in_turn(lambda item: item**3, items)


@given(st.sets(st.integers(0, 9), min_size=1), st.integers(1, 4))
def test_the_first_that_was_raised_of_those_begun_is_raised(impossible: set[int], threads: int) -> None:
    def do(item: int) -> int:
        if item in impossible:
            raise ValueError(item)
        return item

    cores = Cores()
    cores.allow(threads)
    with pytest.raises(ValueError, match=r"^\d$") as raised:
        cores.each(do, range(10))
    assert raised.value.args[0] in impossible
    if threads == 1:
        assert raised.value.args[0] == min(impossible)


def test_so_many_are_at_it_at_once() -> None:
    """Three wait for each other; were they fewer, nobody would come by, and more than three cannot be at it."""
    cores, gate, at_it, most = Cores(), threading.Barrier(3), [0], [0]
    lock = threading.Lock()

    def do(item: int) -> int:
        with lock:
            at_it[0] += 1
            most[0] = max(most[0], at_it[0])
        gate.wait(LONGEST_S)
        with lock:
            at_it[0] -= 1
        gate.wait(LONGEST_S)
        return item

    cores.allow(3)
    assert cores.each(do, range(6)) == list(range(6))
    assert most == [3]


def test_help_may_come_in_the_middle() -> None:
    cores, gate, helpers = Cores(), threading.Barrier(2), set()

    def do(item: int) -> int:
        helpers.add(threading.get_ident())
        if item == 0:
            cores.allow(2)  # as where another worker has nothing to do any more
        if item < 2:
            gate.wait(LONGEST_S)
        return item

    assert cores.each(do, range(4)) == list(range(4))
    assert len(helpers) == 2


def test_what_is_begun_after_help_has_gone_is_done_by_one() -> None:
    cores, names = Cores(), set()
    cores.allow(4)
    cores.allow(1)
    cores.each(lambda _: names.add(threading.get_ident()), range(5))
    assert names == {threading.get_ident()}


def test_no_more_help_is_taken_than_there_is_to_do() -> None:
    cores, before = Cores(), threading.active_count()
    cores.allow(1000)
    seen = cores.each(lambda _: threading.active_count(), range(3))
    assert max(seen) <= before + 3
    assert threading.active_count() == before


def test_where_no_thread_can_be_had_the_work_is_done_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    cores = Cores()
    cores.allow(3)
    assert cores.each(lambda item: -item, range(4)) == [0, -1, -2, -3]


def run(job: Path, workers: int) -> tuple[Summary, dict[str, bytes], dict[str, object], str]:
    """Export to a folder of its own; return what came of it, all files, the ledger's rows, and what was told."""
    out, progress = job.parent / f"out-{workers}", io.StringIO()
    summary = export(Asked(job, out, workers=workers), progress)
    files = {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and not path.name.startswith(("ledger", "."))
    }
    rows: dict[str, object] = {path: vars_of(row) for path, row in read_made(out).items()}
    return summary, files, rows, progress.getvalue()


def vars_of(row: object) -> dict[str, object]:
    """Return all that is known of a file but for when it was written."""
    return {name: getattr(row, name) for name in row.__slots__ if name != "mtime_ns"}  # type: ignore[attr-defined]


def shoot(folder: Path, frames: int) -> Path:
    for name in NAMES:
        frame(folder / name, (900, 600))
    text = HEAD + TARGETS + "".join(asked(name, alt="On the table", targets=ALL) for name in NAMES[:frames])
    return write_job(folder, text, NAMES[:frames])


@pytest.fixture
def allowed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Note how many threads each process is allowed at a task: this one, and the workers by what they are told."""
    noted: list[int] = []
    for of in (Cores, Worker):
        allow = of.allow

        def noting(self: object, threads: int, allow: Callable[..., None] = allow) -> None:
            noted.append(threads)
            allow(self, threads)

        monkeypatch.setattr(of, "allow", noting)
    return noted


@pytest.mark.parametrize(("frames", "workers", "most"), [(1, 2, 2), (3, 2, 2), (2, 4, 4), (1, 5, 5)])
def test_the_same_bytes_by_any_number_of_threads(
    tmp_path: Path, allowed: list[int], frames: int, workers: int, most: int
) -> None:
    job = shoot(tmp_path, frames)
    one, files, rows, _ = run(job, 1)
    assert set(allowed) == {1}
    allowed.clear()
    shared, same_files, same_rows, told = run(job, workers)
    assert max(allowed) == most
    assert same_files == files
    assert same_rows == rows
    assert (shared.faults, sorted(shared.notes), shared.rendered) == ((), sorted(one.notes), one.rendered)
    lines = told.splitlines()
    assert len(lines) == frames
    assert lines[-1].startswith(f"{frames} of {frames} frames, {len(rows)} of {len(rows)} files")


@pytest.mark.parametrize("workers", [1, 3])
def test_faults_are_told_once_and_in_the_order_of_the_job(tmp_path: Path, workers: int) -> None:
    """Three of the files may not take as few bytes as asked for, whoever makes them first."""
    job = shoot(tmp_path, 1)
    text = job.read_text(encoding="utf-8")
    for place in (0, 1, 5):
        text = text.replace(f'[targets."feed/t{place}"]', f'[targets."feed/t{place}"]\nbytes_max = "5 kB"')
    job.write_text(text, encoding="utf-8")
    noise = np.random.default_rng(3).integers(0, 256, (600, 900, 3), np.uint8)
    Image.fromarray(noise).save(tmp_path / NAMES[0], quality=90)
    summary, files, _, _ = run(job, workers)
    assert [TARGET.findall(fault.file) for fault in summary.faults] == [["t0"], ["t1"], ["t5"]]
    assert len([name for name in files if name.startswith("feed/")]) == 3
