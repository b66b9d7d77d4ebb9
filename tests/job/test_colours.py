"""Which colours go into which formats, in words."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pydantic import ValidationError

from pipeline.job.colours import CARRIERS, carried
from pipeline.job.target import Target

PLAIN = {
    "about": "A page",
    "size_px": [800, 600],
    "too_small": "shrink",
    "keep_miss": "caution",
    "formats": ["jpeg"],
    "sharpen": {"medium": "screen"},
    "metadata": "public",
}


def target(**changes: Any) -> Target:  # noqa: ANN401 (values of keys)
    return Target.model_validate_json(json.dumps(PLAIN | changes))


@pytest.mark.parametrize("colour", ["srgb", "display-p3", "adobe-rgb", "grey", "fogra39", "my-paper-2"])
def test_a_colour_is_one_of_ours_or_any_name(colour: str) -> None:
    assert target(colour=colour).colour == colour


@pytest.mark.parametrize("colour", ["", "sRGB", "Fogra 39", "a/b", "x" * 31])
def test_a_name_is_made_of_small_letters_figures_and_hyphens(colour: str) -> None:
    with pytest.raises(ValidationError):
        target(colour=colour)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"colour": "grey", "formats": ["jpeg", "webp", "avif"]},
            "formats has webp and avif, and its colour is grey; grey goes into jpeg, png and tiff only",
        ),
        ({"ink_limit": 300.0}, "there is an ink_limit, and its colour is RGB; only CMYK lays ink on paper"),
        ({"colour": "grey", "ink_limit": 300.0}, "there is an ink_limit, and its colour is grey"),
        ({"colour": "grey", "gamut": "soft"}, 'gamut is "soft", which is for RGB by primaries, and its colour is grey'),
    ],
)
def test_what_does_not_go_together_is_told(changes: dict[str, Any], sentence: str) -> None:
    with pytest.raises(ValidationError, match=sentence):
        target(**changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"colour": "grey", "formats": ["jpeg", "png", "tiff"]},
        {"gamut": "soft"},
        {"colour": "adobe-rgb", "gamut": "soft", "formats": ["webp", "avif"]},
        {"intent": "perceptual"},
        {"colour": "press", "formats": ["webp"], "ink_limit": 300.0, "gamut": "soft"},  # its profile decides
    ],
)
def test_what_does_is_taken(changes: dict[str, Any]) -> None:
    assert target(**changes)


@pytest.mark.parametrize(
    ("key", "value"), [("intent", "absolute"), ("gamut", "hard"), ("ink_limit", 99.0), ("ink_limit", 401.0)]
)
def test_each_key_has_its_values(key: str, value: object) -> None:
    with pytest.raises(ValidationError):
        target(**{key: value})


def test_a_press_takes_tiff_and_jpeg_and_an_ink_limit() -> None:
    press = target(colour="press", formats=["tiff", "jpeg"], ink_limit=300.0)
    assert list(carried(press, 4, tables=True)) == []
    assert set(CARRIERS[4]) == {"tiff", "jpeg"}


def test_what_a_press_does_not_take() -> None:
    press = target(colour="press", formats=["jpeg", "png", "webp"], gamut="soft")
    assert list(carried(press, 4, tables=True)) == [
        "formats has png and webp, and its colour is CMYK; CMYK goes into jpeg and tiff only",
        (
            'gamut is "soft", which is for RGB by primaries, and its colour is CMYK; '
            'the profile has tables for that: write intent = "perceptual"'
        ),
    ]
