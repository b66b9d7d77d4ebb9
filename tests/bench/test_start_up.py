from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.job.read import read_job
from tests.bench.start_up import _captions, write_shoot

if TYPE_CHECKING:
    from pathlib import Path


def test_its_job_is_sound_and_one_caption_changes_at_a_time(tmp_path: Path) -> None:
    job = write_shoot(tmp_path / "shoot", 9)
    before = read_job(job)
    assert [len(frame.requests) for frame in before.frames] == [10] * 9
    assert len({frame.entry.subject for frame in before.frames}) == 9
    change, seen = _captions(job), set()
    for _ in range(2):
        change()
        after = read_job(job)
        changed = [new.entry.caption for old, new in zip(before.frames, after.frames, strict=True) if old != new]
        assert len(changed) == 1
        seen.add(changed[0])
    assert len(seen) == 2
