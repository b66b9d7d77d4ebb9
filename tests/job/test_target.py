from __future__ import annotations

import tomllib
from typing import Any

import pytest
from pydantic import ValidationError

from pipeline.job.explain import explain, json_text
from pipeline.job.target import OutletProfile, Safe, Target

SQUARE: dict[str, Any] = {
    "about": "a square",
    "too_small": "shrink",
    "keep_miss": "caution",
    "formats": ["jpeg"],
    "sharpen": {"medium": "screen"},
    "metadata": "public",
}


def target(text: str, **changes: Any) -> Target:  # noqa: ANN401 (the keys of a target)
    return Target.model_validate_json(json_text({**SQUARE, **tomllib.loads(text), **changes}))


def said_of(text: str, **changes: Any) -> list[str]:  # noqa: ANN401 (as above)
    with pytest.raises(ValidationError) as error:
        target(text, **changes)
    return [
        str(fault) for fault in explain(error.value, Target, "job.toml", {**SQUARE, **tomllib.loads(text), **changes})
    ]


@pytest.mark.parametrize(
    "text",
    [
        'ratio = "1:1"\nwidths = [100]',
        "size_px = [1200, 630]",
        "size_mm = [210, 297]",
        "size_mm = [210, 297]\nbleed_mm = 3\nsafe_mm = { outside = 5, gutter = 10 }\nside = 'left'\nppi_floor = 240",
        "size_px = [20, 1]",
    ],
)
def test_each_way_of_saying_the_size(text: str) -> None:
    assert target(text).about == "a square"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "nothing says its size; say it in one way: ratio with widths, size_px, or size_mm"),
        (
            'ratio = "1:1"\nwidths = [1]\nsize_px = [1, 1]',
            "its size is said with ratio and size_px; say it in one way: ratio with widths, size_px, or size_mm",
        ),
        ('ratio = "1:1"', "there is ratio without widths; the two go together"),
        ("size_px = [1, 1]\nwidths = [1]", "there is widths without ratio; the two go together"),
        ("size_px = [20000, 1]", "20000 x 1 is a strip; a shape may be at most 20 times as long as wide"),
        ("size_mm = [10, 210]", "10 x 210 is a strip; a shape may be at most 20 times as long as wide"),
        ("size_px = [9, 9]\nbleed_mm = 3", "there is bleed_mm without size_mm; these are for paper alone"),
        (
            "size_px = [9, 9]\nside = 'left'\nppi_floor = 200",
            "there is side and ppi_floor without size_mm; these are for paper alone",
        ),
        ("size_mm = [99, 99]\nppi_floor = 301", "ppi_floor is 301 and ppi 300; the floor may not be above it"),
        (
            "size_mm = [99, 99]\nsafe_mm = { gutter = 9 }",
            'there is a gutter without a side; write side = "left" or side = "right"',
        ),
        (
            "size_mm = [99, 99]\nsafe_mm = { outside = 50 }",
            "safe_mm leaves nothing of the page free; make the margins smaller",
        ),
        (
            "size_mm = [99, 200]\nsafe_mm = { outside = 40, gutter = 60 }\nside = 'left'",
            "safe_mm leaves nothing of the page free; make the margins smaller",
        ),
    ],
)
def test_keys_that_do_not_go_together(text: str, said: str) -> None:
    assert said_of(text) == [f"job.toml: {said}"]


def test_all_of_a_targets_contradictions_are_told_at_once() -> None:
    said = said_of("ppi_floor = 400", formats=["jpeg", "jpeg"])
    assert said == [
        "job.toml: nothing says its size; say it in one way: ratio with widths, size_px, or size_mm",
        "job.toml: there is ppi_floor without size_mm; these are for paper alone",
        "job.toml: ppi_floor is 400 and ppi 300; the floor may not be above it",
        "job.toml: formats names one twice (jpeg, jpeg); name each once",
    ]


@pytest.mark.parametrize(
    "text",
    [
        "top = 0.5\nbottom = 0.5",
        "left = 0.2\nright = 0.9",
        'top = 0.5\nleft = 0.5\ncorner = "bottom-right"\nwidth = 0.5\nheight = 0.5',
        'bottom = 0.3\nright = 0.3\ncorner = "top-left"\nwidth = 0.7\nheight = 0.9',
    ],
)
def test_something_of_a_picture_stays_free(text: str) -> None:
    with pytest.raises(ValidationError, match="what will be covered is the whole picture; leave a part of it free"):
        Safe.model_validate(tomllib.loads(text))


def test_a_corner_and_bands_that_leave_a_part_free() -> None:
    safe = Safe.model_validate(tomllib.loads('top = 0.5\nleft = 0.5\ncorner = "top-left"\nwidth = 0.9\nheight = 0.5'))
    assert safe.corner == "top-left"


@pytest.mark.parametrize("text", ['corner = "top-left"', "width = 0.2", 'corner = "top-left"\nheight = 0.1'])
def test_a_covered_corner_is_said_whole(text: str) -> None:
    with pytest.raises(ValidationError, match="a covered corner needs corner, width and height"):
        Safe.model_validate(tomllib.loads(text))


def profile(name: str) -> OutletProfile:
    square = {**SQUARE, "ratio": "1:1", "widths": [100]}
    return OutletProfile.model_validate_json(
        json_text({"outlet": "mine", "about": "x", "name": name, "targets": {"square": square}})
    )


@pytest.mark.parametrize("name", ["{slug}-{frame}-{target}-{width}", "{frame}-{height}", "img{width}x{height}{frame}"])
def test_names_that_tell_files_apart(name: str) -> None:
    assert name == profile(name).name


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("{slug}", "a name needs {frame} and {width}, or files would share one name"),
        ("{frame}", "a name needs {frame} and {width}"),
        ("{slug}-{width}", "a name needs {frame} and {width}"),
        ("IMG-{frame}-{width}", "a name is made of a-z, 0-9, hyphens and {slug}, {frame}, {outlet}, {target}"),
        ("../{frame}-{width}", "a name is made of a-z, 0-9, hyphens"),
        ("{frame}-{width}.jpg", "a name is made of a-z, 0-9, hyphens"),
        ("{frame!r}-{width}", "a name is made of a-z, 0-9, hyphens"),
        ("{frame.__class__}-{width}", "a name is made of a-z, 0-9, hyphens"),
        ("{frame}-{width", "a name is made of a-z, 0-9, hyphens"),
        ("{}-{frame}-{width}", "a name is made of a-z, 0-9, hyphens"),
        ("{frame}-{width}-" + "x" * 30, "its own words may be 30 letters long, so that the rest finds room"),
    ],
)
def test_names_that_would_not_do(name: str, said: str) -> None:
    with pytest.raises(ValidationError) as error:
        profile(name)
    assert said in str(error.value)


def test_nothing_is_changed_later() -> None:
    one = target("size_px = [1, 1]")
    with pytest.raises(ValidationError, match="frozen"):
        one.about = "another"
    assert hash(one.sharpen) == hash(target("size_px = [2, 2]").sharpen)


@pytest.mark.parametrize("name", ["sheet", "web", "set-aside", "replies"])
def test_an_outlet_may_not_take_a_folder_of_ours(name: str) -> None:
    square = {**SQUARE, "ratio": "1:1", "widths": [100]}
    with pytest.raises(ValidationError, match="these are ours"):
        OutletProfile.model_validate_json(json_text({"outlet": name, "about": "a test", "targets": {"square": square}}))
