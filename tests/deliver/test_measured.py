"""What was measured, in words."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.measured import brought_inside, ink_words, outside_gamut, with_measured_cautions
from pipeline.ledger.made import Made
from tests.small_shoot import FRAME, HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan, Rendition


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """Return a plan of one rendition in several files, for a press that takes 300 %."""
    _, plan = plan_of(tmp_path, HEAD + FRAME + 'targets = ["blog/hero"]\n', (2000, 1400))
    (frame,) = plan.frames
    (hero,) = frame.renditions
    settings = replace(hero.settings, colour="our-press", icc_profile=b"icc", ink_limit=300.0)
    return replace(plan, frames=(replace(frame, renditions=(replace(hero, settings=settings),)),))


def hero(plan: Plan) -> Rendition:
    return plan.renditions[0]


def row(path: str, **measured: Any) -> Made:  # noqa: ANN401 (the fields of Made)
    return Made(path, "i", "p", "m", "s", 1, 1, **({"outside_gamut": None} | measured))


def rows(plan: Plan, *measured: dict[str, Any]) -> dict[str, Made]:
    paths = (output.path for output in hero(plan).outputs)
    return {path: row(path, **values) for path, values in zip(paths, measured, strict=False)}


def test_the_largest_share_of_all_files_counts(plan: Plan) -> None:
    made = rows(plan, {"outside_gamut": 0.1}, {"outside_gamut": 0.3}, {"outside_gamut": None})
    assert outside_gamut(hero(plan), made) == 0.3
    assert outside_gamut(hero(plan), {}) is None
    assert outside_gamut(hero(plan), rows(plan, {})) is None


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"colour": "srgb", "icc_profile": None}, "lie outside sRGB and were clipped"),
        ({"colour": "display-p3", "icc_profile": None}, "lie outside Display P3 and were clipped"),
        (
            {"colour": "adobe-rgb", "icc_profile": None, "gamut": "soft"},
            "lie outside Adobe RGB and lost as much chroma as they had to",
        ),
        ({}, "lie outside 'our-press' and became the nearest that it has"),
    ],
)
def test_what_became_of_colours_outside(plan: Plan, changes: dict[str, Any], words: str) -> None:
    one = hero(plan)
    assert words == brought_inside(replace(one, settings=replace(one.settings, **changes)))


def test_ink_of_the_heaviest_file(plan: Plan) -> None:
    made = rows(
        plan,
        {"total_ink": 280.2, "heavy_ink": 270.4, "ink_over": 0.0},
        {"total_ink": 310.6, "heavy_ink": 290.2, "ink_over": 0.01},
    )
    assert ink_words(hero(plan), made) == "290% at most, 311% at single pixels"
    assert ink_words(hero(plan), rows(plan, {})) == ""


@pytest.mark.parametrize(
    ("over", "share"), [(0.0123, "1.2%"), (0.001, "0.1%"), (0.0004, "under 0.1%")], ids=["much", "little", "a trace"]
)
def test_ink_above_the_limit_is_a_caution_that_says_what_to_do(plan: Plan, over: float, share: str) -> None:
    made = rows(plan, {"total_ink": 340.0, "heavy_ink": 305.0, "ink_over": over})
    before = hero(plan).cautions
    assert hero(with_measured_cautions(plan, made)).cautions == (
        *before,
        (
            f"{share} of its pixels carry more than 300% ink, up to 340%: "
            "ask the printer for a profile that lays down less than 'our-press'"
        ),
    )


@pytest.mark.parametrize(
    "measured",
    [{}, {"total_ink": 290.0, "heavy_ink": 280.0, "ink_over": 0.0}, {"total_ink": 390.0, "heavy_ink": 380.0}],
)
def test_without_ink_above_it_there_is_none(plan: Plan, measured: dict[str, Any]) -> None:
    assert with_measured_cautions(plan, rows(plan, measured)) == plan
