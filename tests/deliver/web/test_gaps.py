"""What the kit says is missing: only what is, in sentences that name the key or the frame."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.web.gaps import gaps
from pipeline.deliver.web.pictures import web_pictures

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan

STEPS = "In the structured data the text of a step is its caption: put the recipe's own words there."


def told(plan: Plan, made: Mapping[str, Made], language: str = "en") -> list[str]:
    return list(gaps(plan, made, web_pictures(plan, made), language))


def of_frame(plan: Plan, number: int, **facts: Any) -> Plan:  # noqa: ANN401 (the fields of PictureFacts)
    frame = plan.frames[number]
    renditions = tuple(replace(one, facts=replace(one.facts, **facts)) for one in frame.renditions)
    changed = replace(frame, facts=replace(frame.facts, **facts), renditions=renditions)
    return replace(plan, frames=(*plan.frames[:number], changed, *plan.frames[number + 1 :]))


def test_of_a_whole_job_only_the_steps_own_words_are_left_to_her(plan: Plan, made: Mapping[str, Made]) -> None:
    assert told(plan, made) == [STEPS]


@pytest.mark.parametrize("key", ["post_url", "pictures_url"])
def test_a_missing_address_is_asked_for_by_its_key(plan: Plan, made: Mapping[str, Made], key: str) -> None:
    changes: dict[str, Any] = {key: None}
    first, *rest = told(replace(plan, **changes), made)
    assert first.startswith(f"There are no Open Graph tags yet. The job has to say site.{key} (")
    relative = [one for one in rest if one.startswith("Addresses below are relative")]
    assert len(relative) == (key == "pictures_url")


def test_silence_is_named_and_other_languages_are(plan: Plan, made: Mapping[str, Made]) -> None:
    silent = of_frame(plan, 2, alt=None)
    wanted = "Write one in the job, or say decorative = true; then the snippet comes."
    assert f"No alt text: beans. {wanted}" in told(silent, made)
    found = told(plan, made, "fr")
    assert "Not in fr yet, so in another language: oil (en), beans (en)." in found
    assert "Title and address of the post are those of the en one: put in this post's own." in found


def test_missing_files_and_missing_shapes_are_counted(plan: Plan, made: Mapping[str, Made]) -> None:
    some = {path: row for path, row in made.items() if "card-square" not in path and "card-four-three" not in path}
    found = told(plan, some)
    assert found[0] == "Not made yet, so not named here: 4 files. export makes what is left."
    asked = "search asks for 1:1, 4:3 and 16:9, and the targets blog/card-* make them"
    assert f"The recipe has no picture of 1:1 and 4:3: {asked}." in found


def test_a_job_without_a_page_says_so(plan: Plan) -> None:
    found = told(replace(plan, frames=()), {})
    assert found[0] == 'No picture is made for a page: give a frame a target such as "blog/hero" or "blog/step".'
    assert STEPS not in found
