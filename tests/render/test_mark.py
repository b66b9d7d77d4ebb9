"""The mark of a proof: seen on every ground, over the whole picture, in letters that the font has."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageFont

from pipeline.light.box import Size
from pipeline.light.spaces import SRGB
from pipeline.render.colour import quantise
from pipeline.render.mark import LONGEST_LINE, lettering, missing_letters, proof_mark
from tests.light.colour_science import lab_d50
from tests.render.charts import Array, image_of

WORDS = "Proof · Roasted tomato and white bean soup"
SIZE = Size(400, 300)


def marked(light: float, size: Size = SIZE, words: str | None = WORDS) -> Array:
    """Return a flat picture of linear light under the mark, (h, w, 3) linear."""
    flat = np.full((size.height, size.width, 3), light, np.float32)
    found: Array = proof_mark(words, size)(image_of(flat)).numpy()
    return found


def lightness(light: Array) -> Array:
    """Return L* of a picture as delivered in sRGB."""
    codes = quantise(SRGB)(image_of(light.astype(np.float32))).numpy()
    return lab_d50(codes / 255, "sRGB")[..., 0]


def share(light: float, size: Size = SIZE) -> float:
    """Return how much of the picture the mark has changed."""
    return float((np.abs(lightness(marked(light, size)) - lightness(np.full((1, 1, 3), light))) > 5).mean())


def test_no_words_change_nothing() -> None:
    picture = image_of(np.random.default_rng(4).random((30, 40, 3)).astype(np.float32))
    np.testing.assert_array_equal(picture.numpy(), proof_mark(None, Size(40, 30))(picture).numpy())


@pytest.mark.parametrize(
    ("light", "letters", "edge"),
    # Differences of L* to the ground that the eye cannot miss (common practice, no source).
    [(0.0, 50, 0), (0.02, 45, 2), (0.18, 20, 10), (0.5, 8, 10), (1.0, 5, 15)],
)
def test_letters_and_edge_stand_out_from_every_ground(light: float, letters: float, edge: float) -> None:
    ground, found = float(lightness(np.full((1, 1, 3), light))[0, 0]), lightness(marked(light))
    dark, bright = np.quantile(found, [0.005, 0.995])
    assert ground - dark >= edge
    assert max(abs(bright - ground), bright - dark) >= letters
    # Between letters and their edge lies a difference on every ground but black, where the ground itself is one.
    assert bright - dark >= 15


@pytest.mark.parametrize("light", [0.0, 0.18, 1.0])
def test_the_mark_covers_some_of_every_part_and_leaves_most_to_be_judged(light: float) -> None:
    change = np.abs(lightness(marked(light)) - lightness(np.full((1, 1, 3), light))) > 5
    assert 0.03 <= change.mean() <= 0.3
    for rows in np.split(change, 3):
        for part in np.split(rows, 4, axis=1):  # 100 x 100 px of 400 x 300
            assert part.any()


@pytest.mark.parametrize("size", [Size(800, 600), Size(1600, 1200), Size(600, 800), Size(900, 300)])
def test_the_mark_grows_with_the_picture(size: Size) -> None:
    assert share(0.18, size) == pytest.approx(share(0.18), rel=0.25)


def test_colours_keep_their_balance_under_the_mark() -> None:
    found = marked(0.3)
    np.testing.assert_array_equal(found[..., 0], found[..., 1])
    np.testing.assert_array_equal(found[..., 1], found[..., 2])


@given(st.floats(0, 1, width=32), st.integers(1, 80), st.integers(1, 80))
def test_light_stays_between_black_and_white(light: float, width: int, height: int) -> None:
    found = marked(light, Size(width, height), "Proof")
    assert (height, width, 3) == found.shape
    assert 0 <= found.min() <= found.max() <= 1


def test_the_same_mark_each_time() -> None:
    np.testing.assert_array_equal(marked(0.4), marked(0.4))


def test_other_words_are_another_mark() -> None:
    assert (marked(0.4) != marked(0.4, words="Proof · Lentil soup")).any()


@pytest.mark.parametrize(
    ("words", "drawn"),
    [
        ("Proof · Crème brûlée", "Proof · Creme brulee"),
        ("Proof · Cre\u0300me", "Proof · Creme"),  # the same, typed as letter and accent
        ("Smørrebrød, Łódź, Straße, Æble, Œuf", "Smorrebrod, Lodz, Strasse, AEble, OEuf"),
        ("Soup \u2013 for two \u2014 10\u00a0€", "Soup - for two - 10 EUR"),
        ("two\nlines\tand  spaces", "two lines and spaces"),
        ("soft\u00adhyphen, zero\u200bwidth", "softhyphen, zerowidth"),
        ("© plain “quotes” stay…", "© plain “quotes” stay…"),
    ],
)
def test_words_are_drawn_in_letters_of_the_font(words: str, drawn: str) -> None:
    assert lettering(words) == drawn
    assert missing_letters(words) == set()


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        ("Proof · 味噌汁 with miso", {"味", "噌", "汁"}),
        ("шпинат", set("шпинат")),
        ("Tomato \U0001f345 soup", {"\U0001f345"}),
        ("がんも", {"が", "ん", "も"}),
        ("plain words, 1 to 9", set()),
    ],
)
def test_letters_the_font_has_not_are_named(words: str, missing: set[str]) -> None:
    assert missing_letters(words) == missing


@given(st.text(max_size=40))
def test_what_is_not_named_missing_is_never_an_empty_box(words: str) -> None:
    font = ImageFont.load_default(31)
    box = font.getmask("\U0010fffd")
    boxes = {letter for letter in lettering(words) if bytes(font.getmask(letter)) == bytes(box) and letter != " "}
    assert bool(boxes) == bool(missing_letters(words)) or len(lettering(words)) == LONGEST_LINE


@given(st.text(alphabet=st.characters(categories=["L", "N", "P", "Z"]), max_size=400))
def test_a_line_is_never_longer_than_it_may_be(words: str) -> None:
    assert len(lettering(words)) <= LONGEST_LINE


def test_a_long_line_ends_in_an_ellipsis() -> None:
    words = "slow roasted " * 20
    assert len(lettering(words)) <= LONGEST_LINE
    assert lettering(words).startswith("slow roasted slow roasted")
    assert lettering(words).endswith("…")
    assert marked(0.5, words=words).shape == (300, 400, 3)
