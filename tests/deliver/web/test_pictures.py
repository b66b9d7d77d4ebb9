"""Which renditions the post can use, and the one file that stands for each."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.web.pictures import (
    frames_in_post,
    link_preview,
    not_made,
    recipe_cards,
    steps,
    web_pictures,
)
from tests.deliver.web.kit_shoot import all_made
from tests.small_shoot import HEAD, plan_of

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


def named(pictures: tuple[WebPicture, ...]) -> list[str]:
    return [picture.rendition.name for picture in pictures]


def test_pictures_of_the_post_are_those_for_screens_with_a_choice_of_files(
    plan: Plan, made: Mapping[str, Made]
) -> None:
    """Hero and step first; no proof, no paper, no single file for a feed, a letter or a partner."""
    assert named(web_pictures(plan, made)) == [
        "oil/blog/step",
        "oil/blog/link-preview",
        "bowl/blog/hero",
        "bowl/blog/card-square",
        "bowl/blog/card-four-three",
        "bowl/blog/card-wide",
        "beans/blog/step",
        "linen/blog/step",
    ]
    assert frames_in_post(plan) == {"oil", "bowl", "beans", "linen"}


def test_the_hero_leads_wherever_it_stands_in_the_job(plan: Plan, made: Mapping[str, Made]) -> None:
    assert [one.rendition.name for one in web_pictures(plan, made) if one.lead] == ["bowl/blog/hero"]
    without = replace(plan, frames=(plan.frames[0], *plan.frames[2:]))
    assert [one.rendition.name for one in web_pictures(without, made) if one.lead] == ["oil/blog/step"]


def test_only_files_that_were_made_are_named(plan: Plan, made: Mapping[str, Made]) -> None:
    some = {path: row for path, row in made.items() if "1600" not in path and "oil-step" not in path}
    pictures = {picture.rendition.name: picture for picture in web_pictures(plan, some)}
    assert "oil/blog/step" not in pictures
    assert [one.size.width for one in pictures["bowl/blog/hero"].of_format("avif")] == [800, 1200, 2400]
    missing = [output.path for output in not_made(plan, some)]
    assert sorted(missing) == sorted(path for path in set(made) - set(some) if path.startswith("blog/"))
    assert not_made(plan, made) == ()
    assert web_pictures(plan, {}) == ()


def test_a_picture_without_a_plain_file_is_none(plan: Plan, made: Mapping[str, Made]) -> None:
    modern = {path: row for path, row in made.items() if "hero" not in path or not path.endswith("jpg")}
    assert "bowl/blog/hero" not in named(web_pictures(plan, modern))


@pytest.mark.parametrize(
    ("name", "expected"),
    [("bowl/blog/hero", 1200), ("oil/blog/step", 1440), ("beans/blog/step", 1300), ("oil/blog/link-preview", 1200)],
)
def test_the_standard_file_is_the_smallest_from_1200_px_on_else_the_widest(
    plan: Plan, made: Mapping[str, Made], name: str, expected: int
) -> None:
    picture = next(one for one in web_pictures(plan, made) if one.rendition.name == name)
    assert (picture.standard.format, picture.standard.size.width) == ("jpeg", expected)


def test_png_stands_in_where_there_is_no_jpeg(tmp_path: Path) -> None:
    text = HEAD + '[targets."blog/step"]\nformats = ["png", "webp"]\n[[frames]]\nfile = "a.jpg"\nsubject = [0.5, 0.5]\n'
    _, plan = plan_of(tmp_path, text, (3000, 2000))
    (picture,) = web_pictures(plan, all_made(plan))
    assert picture.standard.format == "png"


@pytest.mark.parametrize(
    ("content_width", "expected"),
    [(720, {"hero": None, "step": 720, "card-square": 720}), (500, {"hero": None, "step": None, "card-square": None})],
)
def test_what_is_wider_than_two_device_pixels_of_the_column_goes_over_the_window(
    plan: Plan, made: Mapping[str, Made], content_width: int, expected: dict[str, int | None]
) -> None:
    pictures = web_pictures(replace(plan, content_width=content_width), made)
    assert expected == {one.rendition.target: one.layout_width for one in pictures if one.rendition.target in expected}


def test_a_small_frame_is_laid_out_like_the_others_of_its_target(plan: Plan, made: Mapping[str, Made]) -> None:
    small, large = (
        next(one for one in web_pictures(replace(plan, content_width=660), made) if one.rendition.name == name)
        for name in ("beans/blog/step", "oil/blog/step")
    )
    assert small.widest < 2 * 660 < large.widest
    assert small.layout_width is large.layout_width is None


def test_recipe_cards_come_in_the_three_shapes_cards_first(plan: Plan, made: Mapping[str, Made]) -> None:
    cards = recipe_cards(web_pictures(plan, made))
    assert {shape: one.rendition.target for shape, one in cards.items()} == {
        Fraction(1): "card-square",
        Fraction(4, 3): "card-four-three",
        Fraction(16, 9): "card-wide",
    }
    for shape, picture in cards.items():
        size = picture.standard.size
        assert abs(size.width / shape - size.height) <= Fraction(1, 2)


def test_another_picture_of_the_shape_stands_in_for_a_missing_card(plan: Plan, made: Mapping[str, Made]) -> None:
    some = {path: row for path, row in made.items() if "card" not in path}
    cards = recipe_cards(web_pictures(plan, some))
    assert {shape: one.rendition.target for shape, one in cards.items()} == {Fraction(16, 9): "hero"}


def test_steps_are_in_their_own_order(plan: Plan, made: Mapping[str, Made]) -> None:
    found = steps(web_pictures(plan, made))
    assert [(number, [one.rendition.name for one in shown]) for number, shown in found.items()] == [
        (1, ["beans/blog/step"]),
        (2, ["oil/blog/step"]),
    ]


def test_two_frames_of_one_step_stand_in_it_together(plan: Plan, made: Mapping[str, Made]) -> None:
    frames = tuple(replace(frame, step=3) for frame in plan.frames)
    found = steps(web_pictures(replace(plan, frames=frames), made))
    assert [one.rendition.name for one in found[3]] == [
        "oil/blog/step",
        "bowl/blog/hero",
        "beans/blog/step",
        "linen/blog/step",
    ]


def test_the_link_preview_is_the_first_made_for_that(plan: Plan, made: Mapping[str, Made]) -> None:
    preview = link_preview(web_pictures(plan, made))
    assert preview is not None
    assert (preview.rendition.name, preview.in_page) == ("oil/blog/link-preview", False)
    assert link_preview(()) is None
