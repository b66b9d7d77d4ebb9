"""What files cost: what takes longest is the most, and what needs no pixels is nothing."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.cost import encoding_cost
from pipeline.deliver.tasks import RenditionTask, file_tasks
from tests.small_shoot import HEAD, asked, own_target, plan_of

if TYPE_CHECKING:
    from pathlib import Path

FORMATS = ("tiff", "png", "webp", "jpeg", "avif")  # from the one that is soonest encoded


def work(folder: Path, **changes: object) -> RenditionTask:
    """Return the work on a rendition without its files for the contact sheet."""
    target = HEAD + '\n[targets."feed/small"]' + own_target(**changes)
    _, plan = plan_of(folder, target + asked("bowl.jpg", alt="A bowl", targets=["feed/small"]), (600, 400))
    [frame] = plan.frames
    [rendition] = frame.renditions
    found = file_tasks(frame, rendition, {frame.slug: "digest"}, {}, folder)
    return replace(found, files=tuple(one for one in found.files if one.output in rendition.outputs))


def cost(one: RenditionTask) -> int:
    return encoding_cost(one.rendition, one.files)


def test_formats_cost_what_was_measured(tmp_path: Path) -> None:
    costs = [cost(work(tmp_path, formats=[name])) for name in FORMATS]
    assert all(less < more for less, more in pairwise(costs))


@pytest.mark.parametrize(
    ("changes", "times"),
    [({"widths": [200]}, 4), ({"bytes_max": "90 kB"}, 3), ({"jpeg_tables": "standard"}, 0)],
)
def test_more_pixels_and_qualities_that_are_found_cost_more(
    tmp_path: Path, changes: dict[str, object], times: int
) -> None:
    usual, changed = cost(work(tmp_path)), cost(work(tmp_path, **changes))
    assert changed / usual == pytest.approx(times, abs=1)


def test_what_needs_no_pixels_costs_nothing(tmp_path: Path) -> None:
    found = work(tmp_path)
    words = [replace(one, work="metadata") for one in found.files]
    assert encoding_cost(found.rendition, words) == 0
    assert encoding_cost(found.rendition, []) == 0
