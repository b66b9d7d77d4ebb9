"""The post's structured data: its recipe with the pictures of card and steps, and who made each picture.

JSON-LD in the vocabulary of schema.org. The fields of a picture follow the IPTC Photo Metadata Standard's twins:
license (web statement), acquireLicensePage (licensor URL), creditText, creator, copyrightNotice, caption. An address
in `image` is the identity of the picture's own node, so that a program that reads addresses and one that reads nodes
find the same.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.printable import printable
from pipeline.deliver.web.addresses import published, whole_address
from pipeline.deliver.web.pictures import MEDIA_TYPES, link_preview, recipe_cards, steps
from pipeline.deliver.web.words import said, without_disclosure

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.plan.rendition import Plan

CONTEXT = "https://schema.org"


def structured_data(
    plan: Plan, pictures: tuple[WebPicture, ...], language: str, disclosure: str | None
) -> dict[str, Any]:
    """Return the JSON-LD document of a post in `language`: one Recipe, then an ImageObject a picture, in order.

    Recipe.image holds the shapes of a recipe card, square first; recipeInstructions the steps that have a picture, in
    their order, with the caption (less the disclosure that every caption carries) as text until the recipe's own
    words take its place. Without a whole pictures_url addresses are relative to the output folder, and mean what the
    page's own address makes of them.
    """
    address = published(plan.pictures_url)
    recipe = {
        "@type": "Recipe",
        "name": printable(plan.title),
        "url": whole_address(plan.post_url),
        "inLanguage": language,
        "sponsor": plan.sponsor and {"@type": "Organization", "name": plan.sponsor},
        "image": [address(picture.standard.path) for picture in recipe_cards(pictures).values()],
        "recipeInstructions": [
            _step(number, shown, language, address, disclosure) for number, shown in steps(pictures).items()
        ],
    }
    preview = link_preview(pictures)
    named = [picture for picture in pictures if picture.in_page or picture is preview]
    return {"@context": CONTEXT, "@graph": [_filled(recipe), *(_image(one, language, address) for one in named)]}


def script_json(document: dict[str, Any]) -> str:
    """Return JSON that can stand in an HTML `script` element: nothing in it can end the element or begin a comment.

    For that no less-than sign is left in it. Source: HTML Living Standard 4.12.1.3.
    """
    return json.dumps(document, ensure_ascii=False, indent=1).replace("<", "\\u003c")


def _step(
    number: int, shown: tuple[WebPicture, ...], language: str, address: Callable[[str], str], disclosure: str | None
) -> dict[str, Any]:
    captions = (said(picture.facts, "description", language) for picture in shown)
    texts = (without_disclosure(caption.text, disclosure) for caption in captions if caption)
    return _filled(
        {
            "@type": "HowToStep",
            "position": number,
            "text": " ".join(texts),
            "image": [address(picture.standard.path) for picture in shown],
        }
    )


def _image(picture: WebPicture, language: str, address: Callable[[str], str]) -> dict[str, Any]:
    facts, file = picture.facts, picture.standard
    caption = said(facts, "description", language)
    return _filled(
        {
            "@type": "ImageObject",
            "@id": address(file.path),
            "contentUrl": address(file.path),
            "encodingFormat": MEDIA_TYPES[file.format],
            "width": file.size.width,
            "height": file.size.height,
            "representativeOfPage": True if picture.lead else None,
            "headline": facts.headline,
            "caption": caption and caption.text,
            "keywords": list(facts.keywords),
            "creator": [{"@type": "Person", "name": name} for name in facts.creators],
            "contributor": [{"@type": "Person", "name": one.name, "jobTitle": one.role} for one in facts.contributors],
            "creditText": facts.credit_line,
            "copyrightNotice": facts.copyright,
            "copyrightHolder": facts.owner,  # a person or a house: the job does not say which
            "license": whole_address(facts.licence_url),
            "acquireLicensePage": whole_address(facts.acquire_url),
            "dateCreated": facts.date_created,
        }
    )


def _filled(fields: dict[str, Any]) -> dict[str, Any]:
    """Return the fields that hold something, texts as HTML can hold them, a list of one as that one."""

    def value(found: object) -> object:
        match found:
            case str():
                return printable(found)
            case [one]:
                return value(one)
            case list():
                return [value(one) for one in found]
            case dict():
                return {key: value(one) for key, one in found.items()}
        return found

    return {key: value(found) for key, found in fields.items() if found is not None and found not in ("", [])}
