from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.job.target import NAME_FIELDS
from pipeline.plan.naming import LONGEST_NAME, file_name

USUAL = "{slug}-{frame}-{target}-{width}"
SLUGS = st.from_regex(r"[a-z0-9]{1,40}(-[a-z0-9]{1,30}){0,9}", fullmatch=True)
SHORT = st.from_regex(r"[a-z0-9]{1,14}(-[a-z0-9]{1,15})?", fullmatch=True)
TEMPLATES = st.permutations([*(f"{{{field}}}" for field in NAME_FIELDS), "x", "--", "img"]).map("-".join) | st.just(
    USUAL
)


def name(template: str = USUAL, slug: str = "soup", frame: str = "bowl", width: int = 800) -> str:
    return file_name(template, slug=slug, frame=frame, outlet="blog", target="hero", width=width, height=450)


def test_the_usual_name_says_what_what_of_it_what_for_and_how_wide() -> None:
    assert name(slug="bean-soup", frame="bowl-from-above") == "bean-soup-bowl-from-above-hero-800"


@pytest.mark.parametrize(
    ("template", "expected"),
    [
        ("{frame}-{width}x{height}", "bowl-800x450"),
        ("{outlet}-{target}-{frame}-{width}", "blog-hero-bowl-800"),
        ("-{frame}--{width}-", "bowl-800"),
    ],
)
def test_a_template_of_her_own(template: str, expected: str) -> None:
    assert expected == name(template)


def test_a_long_name_loses_whole_words_of_the_shoot_first() -> None:
    slug = "slow-roasted-tomato-and-white-bean-soup-with-basil-oil-and-flatbread"
    assert name(slug=slug, frame="bowl-from-above") == (
        "slow-roasted-tomato-and-white-bean-soup-with-basil-oil-bowl-from-above-hero-800"
    )


def test_then_words_of_the_frame() -> None:
    frame = "-".join(["word"] * 30)
    assert name(slug="soup-with-bread", frame=frame) == "soup-" + "word-" * 13 + "hero-800"


def test_a_single_long_word_is_cut_and_the_use_and_width_stay() -> None:
    made = {name(slug="a" * 60, frame="b" * 200, width=width) for width in (800, 1600)}
    assert {one.rpartition("-hero-")[2] for one in made} == {"800", "1600"}
    assert max(map(len, made)) == LONGEST_NAME


@given(TEMPLATES, SLUGS, SLUGS, SHORT, SHORT, st.integers(1, 20000), st.integers(1, 20000))
def test_every_name_is_fit_for_a_web_address(
    template: str, slug: str, frame: str, outlet: str, target: str, width: int, height: int
) -> None:
    made = file_name(template, slug=slug, frame=frame, outlet=outlet, target=target, width=width, height=height)
    assert re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", made)
    assert 0 < len(made) <= LONGEST_NAME


@given(SLUGS, SLUGS, SHORT, st.lists(st.integers(1, 20000), min_size=2, max_size=4, unique=True))
def test_widths_of_one_rendition_never_share_a_name(slug: str, frame: str, target: str, widths: list[int]) -> None:
    made = [
        file_name(USUAL, slug=slug, frame=frame, outlet="blog", target=target, width=width, height=1)
        for width in widths
    ]
    assert len(set(made)) == len(widths)
    assert [one.rpartition("-")[2] for one in made] == [str(width) for width in widths]
    assert all(f"-{target}-" in one for one in made)


@given(SLUGS, SLUGS)
def test_a_name_that_fits_is_not_touched(slug: str, frame: str) -> None:
    whole = f"{slug}-{frame}-hero-800"
    made = name(slug=slug, frame=frame)
    assert (made == whole) == (len(whole) <= LONGEST_NAME)
