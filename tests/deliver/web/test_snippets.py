"""The picture element: read back by an HTML parser, its srcset by a parser of the standard's algorithm."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
import srcset
from hypothesis import example, given

from pipeline.deliver.web.addresses import published
from pipeline.deliver.web.pictures import MEDIA_TYPES, web_pictures
from pipeline.deliver.web.snippets import picture_element
from tests.deliver.web.reading import ATTACKS, holds, hostile, picture_of, shape

if TYPE_CHECKING:
    from collections.abc import Mapping
    from xml.etree.ElementTree import Element

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan
    from tests.deliver.web.kit_shoot import Shoot

HERE = published(None)


@pytest.fixture
def pictures(plan: Plan, made: Mapping[str, Made]) -> dict[str, WebPicture]:
    return {picture.rendition.name: picture for picture in web_pictures(plan, made)}


def element(picture: WebPicture, language: str = "en") -> str:
    html = picture_element(picture, language, HERE)
    assert html is not None
    return html


def saying(picture: WebPicture, alt: str, language: str = "en") -> WebPicture:
    facts = replace(picture.facts, alt=alt, language=language, translations=())
    return replace(picture, rendition=replace(picture.rendition, facts=facts))


def image(html: str) -> Element:
    (found,) = picture_of(html).iter("img")
    return found


def test_every_format_and_width_is_offered_lightest_format_first(pictures: dict[str, WebPicture]) -> None:
    hero = pictures["bowl/blog/hero"]
    picture = picture_of(element(hero))
    assert [child.tag for child in picture] == ["source", "source", "img"]
    assert [child.get("type") for child in picture] == ["image/avif", "image/webp", None]
    for child, output_format in zip(picture, ("avif", "webp", "jpeg"), strict=True):
        offered = srcset.parse(child.get("srcset", ""))
        made = [one for one in hero.rendition.outputs if one.format == output_format]
        assert [(one.url, one.width) for one in offered] == [(one.path, one.size.width) for one in made]
    urls = {one.url for child in picture for one in srcset.parse(child.get("srcset", ""))}
    assert {output.path for output in hero.rendition.outputs} == urls


def test_srcset_and_sizes_are_as_the_standard_asks(pictures: dict[str, WebPicture]) -> None:
    for picture in pictures.values():
        for child in picture_of(element(picture)):
            assert srcset.validate(child.get("srcset", ""), child.get("sizes")) == []


@pytest.mark.parametrize(
    ("width", "density", "expected"),
    [(390, 3, 1200), (390, 2, 800), (800, 1, 800), (1400, 1, 1600), (1400, 2, 2400), (3000, 1, 2400)],
)
def test_a_hero_is_fetched_as_wide_as_the_window_shows_it(
    pictures: dict[str, WebPicture], width: int, density: int, expected: int
) -> None:
    """As a browser chooses (HTML 4.8.4.3.7): the least wide file that has a pixel for every device pixel."""
    source = picture_of(element(pictures["bowl/blog/hero"]))[0]
    window = srcset.Environment(width=width, density=density)
    chosen = srcset.select(source.get("srcset", ""), window, sizes=source.get("sizes", ""))
    assert chosen is not None
    assert chosen.url.endswith(f"-{expected}.avif")


@pytest.mark.parametrize(
    ("width", "density", "expected"), [(390, 1, 480), (390, 2, 1440), (1400, 1, 720), (1400, 2, 1440), (2400, 1, 720)]
)
def test_a_step_is_fetched_as_wide_as_the_text_column(
    pictures: dict[str, WebPicture], width: int, density: int, expected: int
) -> None:
    source = picture_of(element(pictures["oil/blog/step"]))[0]
    window = srcset.Environment(width=width, density=density)
    chosen = srcset.select(source.get("srcset", ""), window, sizes=source.get("sizes", ""))
    assert chosen is not None
    assert chosen.url.endswith(f"-{expected}.webp")


def test_the_image_keeps_its_place_free_and_waits_its_turn(pictures: dict[str, WebPicture]) -> None:
    for picture in pictures.values():
        found = image(element(picture))
        size = picture.standard.size
        assert found.get("src") == picture.standard.path
        assert (found.get("width"), found.get("height")) == (str(size.width), str(size.height))
        assert found.get("decoding") == "async"
        assert found.get("loading") == (None if picture.rendition.target == "hero" else "lazy")
        assert found.get("style") == "background-color: #a58a7c"
        assert found.get("title") is None  # [WCAG] H67


def test_no_colour_is_made_up(pictures: dict[str, WebPicture]) -> None:
    assert image(element(replace(pictures["bowl/blog/hero"], colour=None))).get("style") is None


def test_png_beside_jpeg_is_not_offered(pictures: dict[str, WebPicture]) -> None:
    hero = pictures["bowl/blog/hero"]
    png = tuple(replace(one, format="png", path=f"{one.path}.png") for one in hero.of_format("jpeg"))
    assert shape(picture_of(element(replace(hero, files=(*hero.files, *png))))) == shape(picture_of(element(hero)))
    alone = replace(hero, files=png, standard=png[0])
    assert [child.tag for child in picture_of(element(alone))] == ["img"]
    assert set(MEDIA_TYPES) == {"avif", "webp", "jpeg", "png"}


def test_decoration_has_an_empty_alternative_and_silence_has_no_snippet(pictures: dict[str, WebPicture]) -> None:
    linen = pictures["linen/blog/step"]
    assert image(element(linen)).get("alt") == ""
    assert 'alt=""' in element(linen)  # [WCAG] H67: nothing, not even a blank, between the quotes
    silent = replace(linen.facts, alt=None, decorative=False)
    assert picture_element(replace(linen, rendition=replace(linen.rendition, facts=silent)), "en", HERE) is None


@pytest.mark.parametrize(
    ("language", "expected"),
    [
        ("en", ("A bowl of soup from above", None, None)),
        ("fr", ("Un bol de soupe vu d'en haut", None, None)),
        ("ar", ("وعاء من الحساء", None, "rtl")),
        ("he", ("A bowl of soup from above", "en", "ltr")),
        ("de", ("A bowl of soup from above", "en", None)),
    ],
)
def test_language_and_direction_are_said_where_they_are_not_the_pages(
    pictures: dict[str, WebPicture], language: str, expected: tuple[str, str | None, str | None]
) -> None:
    found = image(element(pictures["bowl/blog/hero"], language))
    assert expected == (found.get("alt"), found.get("lang"), found.get("dir"))


def test_right_to_left_words_are_marked_in_a_left_to_right_page(pictures: dict[str, WebPicture]) -> None:
    found = image(element(saying(pictures["bowl/blog/hero"], "«מרק»", "he")))
    assert (found.get("lang"), found.get("dir")) == ("he", "rtl")


def test_quotes_are_escaped_where_they_must_be_and_apostrophes_stay_readable(pictures: dict[str, WebPicture]) -> None:
    html = element(saying(pictures["bowl/blog/hero"], 'Mara\'s "best" &#39;soup&#39;'))
    assert 'alt="Mara\'s &quot;best&quot; &amp;#39;soup&amp;#39;"' in html
    assert image(html).get("alt") == 'Mara\'s "best" &#39;soup&#39;'


@given(hostile)
@example("".join(ATTACKS))
@example("\f")
def test_no_alt_text_breaks_out(shoot: Shoot, alt: str) -> None:
    hero = next(one for one in web_pictures(shoot.plan, shoot.made) if one.lead)
    html = picture_element(saying(hero, alt), "en", HERE)
    if not alt.strip():
        assert html is None
        return
    assert html is not None
    picture = picture_of(html)
    assert image(html).get("alt") == holds(alt)
    image_shape = dict(shape(picture))["img"]
    assert set(image_shape) - {"dir"} == {"alt", "src", "width", "height", "sizes", "srcset", "decoding", "style"}
    assert [tag for tag, _ in shape(picture)] == ["picture", "source", "source", "img"]


def test_an_address_with_marks_of_markup_stays_one_address(pictures: dict[str, WebPicture]) -> None:
    base = 'https://larder.example/it\'s,here/?a="b"&c=<d>'
    html = picture_element(pictures["bowl/blog/hero"], "en", published(base))
    assert html is not None
    for child in picture_of(html):
        offered = srcset.parse(child.get("srcset", ""))
        assert len(offered) == 4
        assert all(one.url.startswith("https://larder.example/it's,here/blog/") for one in offered)
    assert re.fullmatch(r"https://larder\.example/it's,here/blog/[a-z0-9-]+\.jpg", image(html).get("src", ""))
