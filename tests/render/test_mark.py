"""The mark of a proof: seen on every ground, over the whole picture, in letters that the font has."""

from __future__ import annotations

import unicodedata
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw, ImageFilter, ImageFont
from pydantic import ValidationError

from pipeline.job.outlets import packaged_outlets
from pipeline.job.target import Target
from pipeline.light.box import Size
from pipeline.light.spaces import SRGB
from pipeline.light.transfer import SRGB_CURVE
from pipeline.render.colour import quantise
from pipeline.render.mark import LETTERS_PER_LINE, lettering, missing_letters, proof_mark
from tests.light.colour_science import lab_d50
from tests.render.charts import Array, image_of

WORDS = "Proof · Roasted tomato and white bean soup"
SIZE = Size(400, 300)
SELECTS = Path(__file__).parents[2] / "sample_shoot" / "selects"
FONT_FILE = files("fontpkg_open_sans") / "files" / "OpenSans[wdth,wght].ttf"
FONT = ImageFont.truetype(str(FONT_FILE), 31, layout_engine=ImageFont.Layout.BASIC)


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
        ("Proof · Crème brûlée", ["Proof · Crème brûlée"]),
        ("Proof · Cre\u0300me", ["Proof · Crème"]),  # the same, typed as letter and accent
        ("Smørrebrød, Łódź, Straße, Æble, Œuf", ["Smørrebrød, Łódź, Straße, Æble, Œuf"]),
        ("Proof · Борщ · for Σπίτι", ["Proof · Борщ · for Σπίτι"]),
        ("Soup \u2013 for two \u2014 10\u00a0€, slow\u2011cooked", ["Soup \u2013 for two \u2014 10 €, slow-cooked"]),
        ("two\nlines\tand  spaces", ["two lines and spaces"]),
        ("soft\u00adhyphen, zero\u200bwidth", ["softhyphen, zerowidth"]),
        ("© plain “quotes” stay…", ["© plain “quotes” stay…"]),
        ("½ cup, ⅓ spoon", ["½ cup, 1\u20443 spoon"]),
        (WORDS, ["Proof", "Roasted tomato and white bean soup"]),
        (
            "Proof · A long slow-roasted tomato and white bean soup with basil · for Tidewater Beans",
            ["Proof", "A long slow-roasted tomato and", "white bean soup with basil", "for Tidewater Beans"],
        ),
    ],
)
def test_words_are_drawn_in_letters_of_the_font(words: str, drawn: list[str]) -> None:
    assert list(lettering(words)) == drawn
    assert missing_letters(words) == set()


@pytest.mark.parametrize(
    ("words", "missing"),
    [
        ("Proof · 味噌汁 with miso", {"味", "噌", "汁"}),
        ("Tomato \U0001f345 soup", {"\U0001f345"}),
        ("がんも", {"が", "ん", "も"}),
        ("แกง", set("แกง")),
        ("מרק", set("מרק")),  # the font has these, but the line would run the wrong way
        ("شوربة", set("شوربة")),
        ("plain words, 1 to 9", set()),
    ],
)
def test_letters_the_font_has_not_are_named(words: str, missing: set[str]) -> None:
    assert missing_letters(words) == missing


# The letters of languages in which recipes and partners are called something (CLDR exemplar characters, from memory).
ALPHABETS = {
    "Czech": "áčďéěíňóřšťúůýž",
    "Danish": "æøå",
    "French": "àâæçéèêëîïôœùûüÿ",
    "German": "äöüß",
    "Greek": "αάβγδεέζηήθιίϊΐκλμνξοόπρσςτυύϋΰφχψωώ",
    "Hungarian": "áéíóöőúüű",
    "Icelandic": "áðéíóúýþæö",
    "Lithuanian": "ąčęėįšųūž",
    "Maltese": "ċġħż",
    "Polish": "ąćęłńóśźż",
    "Portuguese": "ãáâàçéêíóôõú",
    "Romanian": "ăâîșț",
    "Russian": "абвгдеёжзийклмнопрстуфхцчшщъыьэюя",
    "Serbian": "ђјљњћџ",
    "Spanish": "áéíñóúü¿¡",
    "Turkish": "çğıöşü",
    "Ukrainian": "ґєії",
    "Vietnamese": "ăâđêôơưạảấầẩẫậắằẳẵặẹẻẽếềểễệịỉĩọỏốồổỗộớờởỡợụủũứừửữựỳỵỷỹ",
}


@pytest.mark.parametrize("language", ALPHABETS)
def test_alphabets_are_drawn_as_they_are_written(language: str) -> None:
    small = ALPHABETS[language]
    letters = small + "".join(letter.upper() for letter in small if len(letter.upper()) == 1)
    assert "".join(lettering(letters)).replace(" ", "") == letters
    assert missing_letters(letters) == set()


@given(st.text(max_size=40))
def test_what_is_not_named_missing_is_never_an_empty_box(words: str) -> None:
    box = bytes(FONT.getmask("\U0010fffd"))
    words = "".join(letter for letter in words if unicodedata.bidirectional(letter) not in ("R", "AL"))
    boxes = [letter for letter in "".join(lettering(words)) if letter != " " and bytes(FONT.getmask(letter)) == box]
    assert bool(boxes) == bool(missing_letters(words))


@given(st.text(alphabet="abc é-ж", max_size=300))
def test_no_word_is_lost_and_no_line_too_long(words: str) -> None:
    lines = lettering(words)
    assert all(len(line) <= LETTERS_PER_LINE for line in lines)
    assert "".join(words.split()) == "".join("".join(lines).split())


def test_words_of_any_length_make_a_mark() -> None:
    for words in ("", " \u200b ", "slow roasted " * 80, "x" * 400):
        assert marked(0.5, words=words).shape == (300, 400, 3)
        assert (marked(0.5, words=words) != 0.5).mean() > 0.015


# Whether it can be read, measured: the contrast ratio of WCAG 2.2 between what lies side by side in the mark.

CONTRAST = 3.0  # WCAG 2.2 1.4.11, graphical objects


def busy(name: str, width: int) -> Array:
    """Return a frame of the sample shoot in linear light, by Pillow."""
    with Image.open(SELECTS / name) as opened:
        small = opened.convert("RGB").resize((width, round(opened.height * width / opened.width)))
    return np.asarray(SRGB_CURVE.to_linear(np.asarray(small) / 255), dtype=np.float32)


def contrasts(light: Array) -> Array:
    """Return the contrast of the mark in each square, a letter wide, that holds letters, edge and ground.

    Either the letters stand out from their edge or the edge does from the ground: the better of the two ratios,
    (lighter + 0.05) / (darker + 0.05) of mean relative luminance (WCAG 2.2).
    """
    size = Size(light.shape[1], light.shape[0])
    letters, edge = (marked(level, size)[..., 0] for level in (0.0, 1.0))
    of_letter = letters > 0.9 * letters.max()
    of_edge = (letters < 0.05) & (edge < edge.min() + 0.05)
    of_ground = (letters == 0) & (edge == 1)
    luminance = proof_mark(WORDS, size)(image_of(light)).numpy() @ np.array([0.2126, 0.7152, 0.0722])
    side = round(np.hypot(*light.shape[:2]) / 40)
    found = []
    for top in range(0, light.shape[0] - side, side):
        for left in range(0, light.shape[1] - side, side):
            here = np.s_[top : top + side, left : left + side]
            parts = [luminance[here][where[here]] for where in (of_letter, of_edge, of_ground)]
            if min(part.size for part in parts) >= side * side / 40:
                letter, around, beyond = (0.05 + part.mean() for part in parts)
                found.append(max(letter / around, around / letter, around / beyond, beyond / around))
    return np.array(found)


@pytest.mark.parametrize("light", [0.0, 0.02, 0.18, 0.4, 0.5, 0.6, 0.7, 1.0])
def test_letters_stand_out_from_every_even_ground(light: float) -> None:
    found = contrasts(np.full((667, 1000, 3), light, np.float32))
    assert len(found) > 50
    assert found.min() >= CONTRAST


@pytest.mark.parametrize("name", ["overhead.tif", "overexposed.jpg", "warm-bulb.jpg"])
@pytest.mark.parametrize("width", [480, 1000])
def test_letters_stand_out_from_a_busy_photograph(name: str, width: int) -> None:
    # One even level under letter, edge and ground is not to be had here; 2:1 everywhere is a house choice.
    found = contrasts(busy(name, width))
    assert found.min() >= 2.0
    assert (found >= CONTRAST).mean() >= 0.8


@pytest.mark.parametrize("size", [Size(1000, 667), Size(667, 1000), Size(900, 300), Size(480, 320)], ids=str)
def test_the_words_stand_whole_in_the_middle(size: Size) -> None:
    letters = Image.fromarray(np.uint8(np.round(marked(0.0, size)[..., 0] * 2 * 255)))
    level = letters.rotate(-24, resample=Image.Resampling.BICUBIC)
    lines = lettering(WORDS)
    likeness = {}
    for height in range(8, 40):
        font = FONT.font_variant(size=height)
        font.set_variation_by_axes([600, 100])
        drawn = Image.new("L", level.size)
        for row, line in enumerate(lines):
            middle = (size.width / 2, size.height / 2 + (row - (len(lines) - 1) / 2) * 1.4 * height)
            ImageDraw.Draw(drawn).text(middle, line, fill=255, font=font, anchor="mm")
        left, top, right, bottom = drawn.getbbox() or (0, 0, 1, 1)
        if (left, top) > (0, 0) and right < size.width and bottom < size.height:
            soft = [each.filter(ImageFilter.GaussianBlur(1.5)) for each in (drawn, level)]
            pair = [np.asarray(each.crop((left, top, right, bottom)), float).ravel() for each in soft]
            likeness[height] = np.corrcoef(pair)[0, 1]
    # A block of another size, or one that the picture's rim cuts, is at most half as like.
    assert max(likeness.values()) > 0.85


# Who gets one.


def test_only_a_target_that_is_marked_gets_a_mark() -> None:
    for outlet in packaged_outlets().values():
        for name, target in outlet.profile.targets.items():
            assert target.mark == (target.metadata == "proof"), name


def test_a_final_cannot_be_marked() -> None:
    with pytest.raises(ValidationError, match='there is a mark with metadata = "full"; a mark is for proofs'):
        Target.model_validate(
            {
                "about": "A final", "size_px": (800, 600), "too_small": "shrink", "keep_miss": "caution",
                "formats": ("jpeg",), "sharpen": {"medium": "screen"}, "metadata": "full", "mark": True,
            }
        )  # fmt: skip
