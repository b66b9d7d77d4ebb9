"""Delivered names put into a plan that is there already: the same as if it had been planned with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.plan.delivered import with_delivered_names
from pipeline.plan.files import identity, made_from
from tests.small_shoot import FRAME, HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

PAIR = '\n[[pairs]]\npair = ["bowl", "bread"]\ntargets = ["feed/two-up"]\n'
TWO = HEAD + FRAME + FRAME.replace("bowl", "bread") + PAIR
SIZES = ((6000, 4000), (3000, 2000))


def paths(plan: Plan) -> dict[str, str]:
    """Return the path of every file by its identity."""
    return {
        identity(made_from(frame, one), f"{one.outlet}/{one.target}", output.size, output.format): output.path
        for frame in plan.frames
        for one in frame.renditions
        for output in one.outputs
    }


def test_every_delivered_file_keeps_its_name_also_a_picture_of_two(tmp_path: Path) -> None:
    _, before = plan_of(tmp_path, TWO, *SIZES)
    renamed = TWO.replace("Bean soup", "White beans")
    _, fresh = plan_of(tmp_path, renamed, *SIZES)
    kept = with_delivered_names(fresh, paths(before))
    assert paths(kept) == paths(before) != paths(fresh)
    assert any("two-up" in path for path in paths(before).values())
    assert kept == plan_of(tmp_path, renamed, *SIZES, delivered=paths(before))[1]
    assert with_delivered_names(fresh, paths(fresh)) is fresh is with_delivered_names(fresh, {})


def test_a_new_name_that_was_delivered_as_something_else_is_refused(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, TWO, *SIZES)
    named = paths(plan)
    bowl, path = next((known, path) for known, path in named.items() if path.startswith("blog/bean-soup-bowl-step-"))
    other = path.replace("bowl", "bread")
    assert other in named.values()
    with pytest.raises(RequestRefused, match="both bowl/blog/step and bread/blog/step would be written to") as refused:
        with_delivered_names(plan, {bowl: other})
    assert len(refused.value.faults) == 1
    assert "`export --rename` gives each the name the job says now" in str(refused.value)
