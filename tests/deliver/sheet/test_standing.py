"""What was said in earlier rounds: in whose words, of which pictures, and what of it is carried over."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pipeline.deliver.review.state import Before, Spot, Standing
from pipeline.deliver.sheet.links import Links
from pipeline.deliver.sheet.standing import carried, earlier
from pipeline.light.box import Size
from tests.deliver.sheet.sheet_shoot import PLAN, review

SAID = Standing("change", "Less spoon", (Spot((0.5, 0.25)),), "Mara Feldt", "2026-11-25", 2, stands=True)
BEFORE = Before("sheet/earlier/0.jpg", Size(640, 427))


@pytest.mark.parametrize(("number", "when"), [(3, "Last round"), (2, "This round"), (5, "Round 2")])
def test_round_is_named_from_where_one_stands(number: int, when: str) -> None:
    shown = review(PLAN, number=number, standings={"bowl": (SAID,)})
    [line] = earlier(shown, "bowl", 1, Links())
    assert (line.when, line.verdict, line.note, line.who) == (
        when,
        "Change",
        "Less spoon",
        "Mara Feldt, 25\N{NO-BREAK SPACE}November 2026",
    )


def test_print_that_was_judged_is_shown_where_it_is_another() -> None:
    moved = replace(SAID, stands=False, before=BEFORE)
    lines = earlier(review(PLAN, number=3, standings={"bowl": (SAID, moved)}), "bowl", 1, Links())
    assert [line.picture.link if line.picture else None for line in lines] == [None, "earlier/0.jpg"]
    assert [(point.x, point.y) for point in lines[1].spots.points] == [("50", "25")]
    assert [line.since for line in lines] == [
        "The picture is the same, so this holds.",
        "The picture has changed since.",
    ]
    partly = replace(SAID, stands=False)
    [line] = earlier(review(PLAN, number=3, standings={"bowl": (partly,)}), "bowl", 1, Links())
    assert line.since == "Not every picture here is one that it was said of."


def test_only_an_answer_that_holds_and_that_all_agree_on_is_carried_over() -> None:
    other = replace(SAID, reviewer="Bo", date="2026-11-24")
    against = replace(other, verdict="approve")
    gone = replace(against, stands=False)
    assert carried(()) is None
    assert carried((SAID,)) is SAID
    assert carried((SAID, other)) is SAID  # the newest words
    assert carried((SAID, against)) is None  # whose word counts is not for a page to say
    assert carried((gone, SAID)) is SAID
    assert carried((gone,)) is None
