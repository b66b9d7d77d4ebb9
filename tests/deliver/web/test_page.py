"""The preview page: it uses the very snippets, asks no network, runs nothing, and no text breaks out of it."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
from dataclasses import replace
from typing import TYPE_CHECKING
from urllib.parse import urljoin

import pytest
import srcset
from hypothesis import example, given

from pipeline.deliver.web.addresses import beside, published
from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.web.pictures import web_pictures
from pipeline.deliver.web.snippets import picture_element
from tests.deliver.web.kit_shoot import DISCLOSURE
from tests.deliver.web.reading import ATTACKS, holds, hostile, parsed, shape

if TYPE_CHECKING:
    from collections.abc import Mapping
    from xml.etree.ElementTree import Element

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan
    from tests.deliver.web.kit_shoot import Shoot


def page_of(plan: Plan, made: Mapping[str, Made], place: str = "index.html") -> str:
    return web_kit(plan, made, DISCLOSURE)[place].decode()


def words(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def with_class(page: Element, name: str) -> list[Element]:
    return [element for element in page.iter() if name in element.get("class", "").split()]


@pytest.fixture
def page(plan: Plan, made: Mapping[str, Made]) -> Element:
    return parsed(page_of(plan, made))


def test_each_snippet_is_used_and_beside_it_is_its_text(plan: Plan, made: Mapping[str, Made], page: Element) -> None:
    pictures = [picture for picture in web_pictures(plan, made) if picture.in_page]
    texts = [area.text for area in page.iter("textarea")]
    public = published(plan.pictures_url)
    assert texts[1:] == [picture_element(picture, "en", public) for picture in pictures]
    assert texts[0] == web_kit(plan, made, DISCLOSURE)["en/head.html"].decode().rstrip("\n")
    here = beside("web/index.html")
    html = page_of(plan, made)
    for picture in web_pictures(plan, made):
        element = picture_element(picture, "en", here)
        assert element is not None
        assert element in html


def test_the_fields_can_be_read_and_not_changed_and_have_names(page: Element) -> None:
    labels = {label.get("for"): words(label) for label in page.iter("label")}
    for area in page.iter("textarea"):
        assert area.get("readonly") is not None
        assert labels[area.get("id")].startswith("To copy: ")


def test_headings_and_links_lead_through_the_page(page: Element) -> None:
    levels = [int(element.tag[1]) for element in page.iter() if re.fullmatch(r"h[1-6]", str(element.tag))]
    assert levels[0] == 1
    assert all(below - above <= 1 for above, below in itertools.pairwise(levels))
    ids = [element.get("id") for element in page.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    links = {link.get("href", "") for link in page.iter("a")}
    assert {link[1:] for link in links if link.startswith("#")} <= set(ids)
    assert links >= {"#head", "#frame-1", "captions.csv", "fr/index.html", "ar/index.html"}


@pytest.mark.parametrize("place", ["index.html", "fr/index.html", "ar/index.html"])
def test_everything_the_page_shows_lies_beside_it(plan: Plan, made: Mapping[str, Made], place: str) -> None:
    page = parsed(page_of(plan, made, place))
    asked = [image.get("src", "") for image in page.iter("img")]
    asked += [one.url for part in page.iter() for one in srcset.parse(part.get("srcset", ""))]
    reached = {urljoin(f"file:///out/web/{place}", one) for one in asked}
    assert reached <= {f"file:///out/{path}" for path in made}
    assert len(reached) > 20
    assert {element.tag for element in page.iter()} & {"script", "link", "iframe", "object", "form", "base"} == set()


def test_style_is_allowed_by_digest_alone(page: Element, plan: Plan, made: Mapping[str, Made]) -> None:
    """Content Security Policy Level 3, 2.3.1: the digest of the element's or the attribute's text."""
    (policy,) = [tag.get("content", "") for tag in page.iter("meta") if tag.get("http-equiv")]
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'"
    assert "unsafe-inline" not in policy
    (style,) = page.iter("style")
    attributes = {element.get("style") for element in page.iter()} - {None}
    assert attributes == {"background-color: #a58a7c"}
    for text in (style.text, *attributes):
        digest = base64.b64encode(hashlib.sha256((text or "").encode()).digest()).decode()
        assert f"'sha256-{digest}'" in rules["style-src"].split()
    assert "url(" not in (style.text or "")
    assert page_of(plan, made) == page_of(plan, made), "the same plan gives the same page"


def test_head_of_the_page_says_what_the_job_says(page: Element) -> None:
    rows = {words(row[0]): words(row[1]) for row in with_class(page, "ticket")[0]}
    assert rows == {
        "Pictures": "7",
        "Files": "36",
        "Text column": "720 px",
        "Post": "https://larder.example/bean-soup/?from=home&page=1",
        "Pictures at": "https://pictures.larder.example/2026/soup/",
        "Sponsor": "Hollow Oak Mill",
        "Disclosure": DISCLOSURE,
        "Language": "en · fr · ar",
        "Words": "captions.csv",
    }


def test_what_is_in_no_page_is_listed(plan: Plan, made: Mapping[str, Made]) -> None:
    proofs = replace(plan.frames[0], slug="an-outtake", renditions=plan.frames[0].renditions[2:])
    page = parsed(page_of(replace(plan, frames=(*plan.frames, proofs)), made))
    assert [words(one) for one in with_class(page, "elsewhere")] == ["Not in the post: An outtake"]


def test_a_picture_without_alt_text_is_not_offered(plan: Plan, made: Mapping[str, Made]) -> None:
    beans = plan.frames[2]
    renditions = tuple(replace(one, facts=replace(one.facts, alt=None)) for one in beans.renditions)
    silent = replace(plan, frames=(*plan.frames[:2], replace(beans, renditions=renditions), plan.frames[3]))
    kit = web_kit(silent, made, DISCLOSURE)
    page = parsed(kit["index.html"].decode())
    (refusal,) = with_class(page, "refusal")
    assert words(refusal).startswith("No snippet yet it has no alt text")
    assert "beans-step" not in kit["en/pictures.html"].decode()
    assert "<!-- beans/blog/step: left out, for it has no alt text yet -->" in kit["en/pictures.html"].decode()


def test_words_carry_their_language(plan: Plan, made: Mapping[str, Made]) -> None:
    page = parsed(page_of(plan, made, "fr/index.html"))
    captions = {words(one): one.get("lang") for one in page.iter("figcaption") if one.get("lang")}
    assert captions == {
        f"Soupe et pain. {DISCLOSURE}": "fr",
        f"Stir, and finish with oil. {DISCLOSURE}": "en",
        f"Rinse the beans. {DISCLOSURE}": "en",
        DISCLOSURE: "en",
    }
    assert {one.get("lang") for one in with_class(page, "shown")} == {"fr"}
    assert [h1.get("lang") for h1 in page.iter("h1")] == ["en"]


@given(hostile, hostile, hostile)
@example("".join(ATTACKS), "".join(ATTACKS), "".join(ATTACKS))
def test_no_text_breaks_out(shoot: Shoot, title: str, alt: str, caption: str) -> None:
    """The page of hostile words has the very elements and attributes of the page of plain ones."""

    def saying(title: str, alt: str, caption: str) -> Plan:
        oil = shoot.plan.frames[0]
        facts = replace(oil.facts, title=f"t{title}", alt=f"a{alt}", description=f"c{caption}")
        renditions = tuple(replace(one, facts=facts) for one in oil.renditions)
        return replace(shoot.plan, title=f"t{title}", frames=(replace(oil, facts=facts, renditions=renditions),))

    plain = parsed(page_of(saying("", "", ""), shoot.made))
    attacked = parsed(page_of(saying(title, alt, caption), shoot.made))
    assert shape(plain) == shape(attacked)
    assert {image.get("alt") for image in attacked.iter("img")} == {holds(f"a{alt}")}
    assert words(next(attacked.iter("h1"))) == " ".join(holds(f"t{title}").split())
    code = next(area.text for area in attacked.iter("textarea") if area.get("id") != "head-code")
    assert next(iter(parsed(f"<!DOCTYPE html><title>t</title>{code}").iter("img"))).get("alt") == holds(f"a{alt}")
