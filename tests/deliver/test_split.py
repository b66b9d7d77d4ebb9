"""The last frames split among workers: nothing lost, nothing twice, and the same bytes as of one process."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

import pipeline.deliver.split
from pipeline.deliver.export import Asked, export
from pipeline.deliver.split import cuts, parts_of, put_together, split_last
from pipeline.deliver.tasks import FrameTask, file_tasks
from pipeline.deliver.work import FrameDone
from pipeline.faults import Fault
from pipeline.ledger.book import read_made
from tests.small_shoot import HEAD, asked, frame, own_target, plan_of, write_job

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from pipeline.deliver.shoot import Summary

NAMES = ("bowl.jpg", "bread.jpg", "plum.jpg")
# Six renditions of three shapes, two of each shape; one of them in a format that takes long.
RATIOS = (("3:2", "jpeg"), ("1:1", "jpeg"), ("4:5", "webp"), ("3:2", "webp"), ("1:1", "tiff"), ("4:5", "jpeg"))
TARGETS = "".join(
    f'\n[targets."feed/t{place}"]' + own_target(ratio=ratio, formats=[kind], widths=[300 + 10 * place])
    for place, (ratio, kind) in enumerate(RATIOS)
)
ALL = [f"feed/t{place}" for place in range(len(RATIOS))]
LARGE = TARGETS.replace("[3", "[23")  # 2300 px wide and more

costs_and_parts = st.lists(st.integers(1, 10**9), min_size=1, max_size=30).flatmap(
    lambda costs: st.tuples(st.just(costs), st.integers(1, len(costs)))
)


def always(_: Sequence[FrameTask]) -> bool:
    return True


def task_of(folder: Path, size: tuple[int, int] = (6000, 4000), targets: str = LARGE) -> FrameTask:
    """Return the work on a frame of which nothing is made yet; of a header alone."""
    folder.mkdir(exist_ok=True)
    _, plan = plan_of(folder, HEAD + targets + asked(NAMES[0], alt="A bowl", targets=ALL), size)
    [one] = plan.frames
    renditions = (*one.renditions, one.whole)
    work = tuple(file_tasks(one, rendition, {one.slug: "digest"}, {}, folder) for rendition in renditions)
    return FrameTask(one.header, one.file, folder, work)


@given(costs_and_parts)
def test_no_part_is_empty_and_none_is_much_larger_than_its_share(asked_for: tuple[list[int], int]) -> None:
    costs, parts = asked_for
    found = cuts(costs, parts)
    assert len(found) == parts - 1
    shares = [sum(costs[start:end]) for start, end in pairwise((0, *found, len(costs)))]
    assert sum(shares) == sum(costs)
    assert min(shares) > 0
    assert max(shares) <= sum(costs) / parts + max(costs)


@pytest.mark.parametrize("most", range(2, 9))
def test_every_rendition_is_in_one_part_in_its_order(tmp_path: Path, most: int) -> None:
    task = task_of(tmp_path)
    parts = parts_of(task, most)
    assert 2 <= len(parts) <= most
    together = [one for part in parts for one in part.renditions]
    assert len(together) == len(task.renditions)
    assert all(any(one is other for other in together) for one in task.renditions)
    for part in parts:
        assert part.renditions
        assert part == replace(task, renditions=part.renditions), "nothing else differs"
        places = [task.renditions.index(one) for one in part.renditions]
        assert places == sorted(places)
    assert parts_of(task, most) == parts


def test_renditions_of_one_crop_stay_together_where_that_costs_nothing(tmp_path: Path) -> None:
    parts = parts_of(task_of(tmp_path), 3)
    boxes = [{one.rendition.crop.box for one in part.renditions} for part in parts]
    shared = sum(len(boxes[first] & boxes[second]) for first in range(3) for second in range(first))
    assert shared <= len(parts) - 1, "one crop at each cut"


@pytest.mark.parametrize(
    ("size", "targets"),
    [((600, 400), TARGETS), ((6000, 4000), TARGETS.replace("webp", "jpeg").replace("[3", "[1"))],
    ids=["a small frame", "small pictures"],
)
def test_where_there_is_little_to_make_a_frame_stays_whole(tmp_path: Path, size: tuple[int, int], targets: str) -> None:
    task = task_of(tmp_path, size, targets)
    assert parts_of(task, 4) == (task,)


def test_what_is_decoded_slowly_is_decoded_less_often(tmp_path: Path) -> None:
    task = task_of(tmp_path)
    slow = replace(task, header=replace(task.header, format="raw"))
    assert len(parts_of(slow, 8)) < len(parts_of(task, 8))


def test_what_needs_no_pixels_is_not_worth_a_part(tmp_path: Path) -> None:
    task = task_of(tmp_path)
    words = [replace(one, files=tuple(replace(file, work="metadata") for file in one.files)) for one in task.renditions]
    rewritten = replace(task, renditions=tuple(words))
    assert parts_of(rewritten, 4) == (rewritten,)
    mixed = replace(task, renditions=(*words[:3], *task.renditions[3:]))
    parts = parts_of(mixed, 2)
    assert len(parts) == 2
    assert all(part.renders for part in parts)


@pytest.mark.parametrize(
    ("frames", "workers", "parts"),
    [
        (1, 1, [1]),
        (1, 2, [2]),
        (2, 2, [1, 1]),
        (3, 2, [1, 1, 2]),
        (2, 3, [1, 1]),
        (2, 4, [2, 2]),
        (4, 3, [1, 1, 1, 3]),
        (7, 4, [1] * 7),
        (0, 2, []),
    ],
)
def test_the_last_are_split_where_workers_would_stand_idle(
    tmp_path: Path, frames: int, workers: int, parts: list[int]
) -> None:
    tasks = [task_of(tmp_path / str(number)) for number in range(frames)]
    assert [len(one) for one in split_last(tasks, workers, always)] == parts
    assert [len(one) for one in split_last(tasks, workers, lambda _: False)] == [1] * frames, (
        "there is no memory for it"
    )


def test_what_came_of_parts_is_told_once(tmp_path: Path) -> None:
    task = task_of(tmp_path)
    fault, lost = Fault(task.file, "it cannot be read", "mend it"), Fault(task.file, "it was lost", "again")
    first = FrameDone(task.file, (), (fault,), ("a note", "another"), 2, 1)
    second = FrameDone(task.file, (), (lost, fault), ("another",), 3, 0)
    whole = put_together(task, [first, second])
    assert whole == FrameDone(task.file, (), (fault, lost), ("a note", "another"), 5, 1)
    assert put_together(task, [first]) is first


def run(job: Path, workers: int) -> tuple[Summary, dict[str, bytes], dict[str, object], str]:
    """Export to a folder of its own; return what came of it, all files, the ledger's rows, and what was told."""
    out, progress = job.parent / f"out-{workers}", io.StringIO()
    summary = export(Asked(job, out, workers=workers), progress)
    files = {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in out.rglob("*")
        if path.is_file() and not path.name.startswith(("ledger", "."))
    }
    rows: dict[str, object] = {path: replace(row, mtime_ns=0) for path, row in read_made(out).items()}
    return summary, files, rows, progress.getvalue()


def shoot(folder: Path, frames: int) -> Path:
    for name in NAMES:
        frame(folder / name, (900, 600))
    text = HEAD + TARGETS + "".join(asked(name, alt="On the table", targets=ALL) for name in NAMES[:frames])
    return write_job(folder, text, NAMES[:frames])


@pytest.fixture
def handed(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Let small frames be split too, and note into how many parts each is."""
    noted: list[int] = []

    def noting(tasks: Sequence[FrameTask], *how: object) -> list[tuple[FrameTask, ...]]:
        parts = partial(split_last, tasks)(*how)  # type: ignore[arg-type] # handed on as it is
        noted.extend(map(len, parts))
        return parts

    monkeypatch.setattr(pipeline.deliver.split, "LEAST", 1)
    monkeypatch.setattr("pipeline.deliver.workers.split_last", noting)
    return noted


@pytest.mark.parametrize(("frames", "parts"), [(1, [2]), (3, [1, 1, 2])])
def test_the_same_bytes_from_parts(tmp_path: Path, handed: list[int], frames: int, parts: list[int]) -> None:
    job = shoot(tmp_path, frames)
    one, files, rows, _ = run(job, 1)
    assert handed == [1] * frames
    handed.clear()
    split, same_files, same_rows, told = run(job, 2)
    assert handed == parts
    assert same_files == files
    assert same_rows == rows
    assert (split.faults, sorted(split.notes), split.rendered) == ((), sorted(one.notes), one.rendered)
    lines = told.splitlines()
    assert len(lines) == frames, "a frame is told once, when all of it is there"
    assert lines[-1].startswith(f"{frames} of {frames} frames, {len(rows)} of {len(rows)} files")


def test_a_frame_that_cannot_be_decoded_is_told_once(tmp_path: Path, handed: list[int]) -> None:
    job = shoot(tmp_path, 1)
    data = (tmp_path / NAMES[0]).read_bytes()
    (tmp_path / NAMES[0]).write_bytes(data[: len(data) // 2])
    one, *_ = run(job, 1)
    split, *_ = run(job, 2)
    assert handed == [1, 2]
    assert split.faults == one.faults
    assert len(split.faults) == 1
