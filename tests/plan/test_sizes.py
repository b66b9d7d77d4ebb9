"""Sizes against published pixel counts of paper, and the shrink rule over any frame."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.job.explain import json_text
from pipeline.job.target import Target
from pipeline.light.box import Box, Size
from pipeline.light.ratio import height_at, parse_ratio
from pipeline.plan.sizes import effective_ppi, given_sizes, outer_ratio

BASE = {
    "about": "x", "too_small": "shrink", "keep_miss": "caution", "formats": ["jpeg"], "sharpen": {"medium": "screen"},
    "metadata": "public",
}  # fmt: skip


def target(**keys: Any) -> Target:  # noqa: ANN401 (the keys of a target)
    return Target.model_validate_json(json_text({**BASE, **keys}))


def box(width: int, height: int) -> Box:
    return Box(10, 20, width, height)


def widths(one: Target, width: int, height: int = 4000) -> tuple[list[int], bool]:
    given_ = given_sizes(one, box(width, height))
    return [size.width for size in given_.sizes], given_.short


HERO = target(ratio="16:9", widths=[800, 1600, 1200, 2400])


@pytest.mark.parametrize(
    ("width", "made", "short"),
    [
        (4000, [800, 1200, 1600, 2400], False),
        (2400, [800, 1200, 1600, 2400], False),
        (2399, [800, 1200, 1600, 2398], True),
        (1601, [800, 1200, 1600], True),
        (1600, [800, 1200, 1600], True),
        (1599, [800, 1200, 1598], True),
        (500, [500], True),
        (1, [1], True),
    ],
)
def test_every_width_above_the_box_is_dropped_and_its_own_added_once(width: int, made: list[int], short: bool) -> None:  # noqa: FBT001 (a column of the table)
    assert (made, short) == widths(HERO, width)


@pytest.mark.parametrize(
    ("width", "expected"), [(1600, Size(1600, 900)), (1280, Size(1280, 720)), (1279, Size(1278, 719))]
)
def test_heights_follow_from_the_exact_ratio(width: int, expected: Size) -> None:
    assert expected == given_sizes(HERO, box(width, 1000)).sizes[-1]


@pytest.mark.parametrize(
    ("size_mm", "bleed", "expected"),
    [
        # Source: A sizes of ISO 216 at 300 ppi, trim and with 3 mm bleed all round: mm / 25.4 x 300, rounded.
        ([210, 297], 0, Size(2480, 3508)),
        ([210, 297], 3, Size(2551, 3579)),
        ([148, 210], 0, Size(1748, 2480)),
        ([148, 210], 3, Size(1819, 2551)),
        ([105, 148], 3, Size(1311, 1819)),
        ([297, 420], 3, Size(3579, 5031)),
        # US sizes, with an eighth of an inch of bleed.
        ([203.2, 254], 0, Size(2400, 3000)),
        ([203.2, 254], 3.175, Size(2475, 3075)),
        ([215.9, 279.4], 3.175, Size(2625, 3375)),
    ],
)
def test_paper_in_pixels(size_mm: list[float], bleed: float, expected: Size) -> None:
    one = target(size_mm=size_mm, bleed_mm=bleed)
    assert outer_ratio(one) == Fraction(expected.width, expected.height)
    assert given_sizes(one, box(6000, 9000)).sizes == (expected,)


def test_a_frame_too_small_for_the_page_gives_its_own_pixels() -> None:
    one = target(size_mm=[210, 297], bleed_mm=3)
    given_ = given_sizes(one, box(1201, 1685))
    assert given_.short
    assert given_.sizes == (Size(1200, height_at(1200, Fraction(2551, 3579))),)


def test_effective_ppi_counts_the_bleed_and_the_weaker_side() -> None:
    one = target(size_mm=[210, 297], bleed_mm=3)
    # 2560 px over 216 mm: 2560 x 25.4 / 216 = 301.04; 3592 px over 303 mm: 301.11.
    assert effective_ppi(one, box(2560, 3592)) == pytest.approx(301.037, abs=0.001)
    assert effective_ppi(one, box(2560, 3000)) == pytest.approx(3000 * 25.4 / 303)
    assert effective_ppi(HERO, box(2560, 3592)) is None


def test_twice_the_paper_is_half_the_ppi() -> None:
    single, double = target(size_mm=[100, 150]), target(size_mm=[200, 300])
    ppi = effective_ppi(single, box(1200, 1800))
    assert ppi
    assert effective_ppi(double, box(1200, 1800)) == pytest.approx(ppi / 2)


@given(
    st.sampled_from(["1:1", "16:9", "4:5", "9:16", "1.91:1", "20:1", "1:20"]),
    st.lists(st.integers(1, 3000), min_size=1, max_size=6),
    st.integers(1, 4000),
)
def test_the_shrink_rule_over_any_box(ratio: str, asked: list[int], width: int) -> None:
    exact = parse_ratio(ratio)
    source = box(width, max(1, height_at(width, exact)))
    one = target(ratio=ratio, widths=asked)
    given_ = given_sizes(one, source)
    made = [size.width for size in given_.sizes]
    assert made == sorted(set(made)), "small to large, no two of one size"
    assert {one for one in asked if one <= width} <= set(made)
    assert given_.short == (max(asked) > width)
    own = set(made) - set(asked)
    assert len(own) <= 1
    assert all(one in {width, width - 1} and (one % 2 == 0 or one == 1) for one in own)
    assert all(size.width <= source.width and size.height <= source.height for size in given_.sizes), "never upscaled"
    assert all(abs(size.height - size.width / exact) <= Fraction(1, 2) or size.height == 1 for size in given_.sizes)
