"""The kit put together: a page to look at, the code for the post in each language, the captions as a table."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.deliver.pages import rendered
from pipeline.deliver.web.addresses import FOLDER, published
from pipeline.deliver.web.captions import captions_csv
from pipeline.deliver.web.open_graph import open_graph, open_graph_gaps
from pipeline.deliver.web.page import page_html
from pipeline.deliver.web.pictures import link_preview, web_pictures
from pipeline.deliver.web.snippets import picture_element
from pipeline.deliver.web.structured_data import script_json, structured_data
from pipeline.deliver.web.words import languages

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


def web_kit(plan: Plan, made: Mapping[str, Made], disclosure: str | None = None) -> Mapping[str, bytes]:
    """Return the files of the kit by their place below `web/` in the output folder. Pure.

    `index.html` is the page in the shoot's language, `captions.csv` the words of all frames. Each language has a
    folder with `pictures.html` (every `picture` element) and `head.html` (Open Graph and structured data); a
    translation's page lies in its folder too. `made` is what the ledger knows, by path: only files that are there are
    named. `disclosure` is how a paid post says so, as it ends every caption. Raises ValueError for a path or a
    language tag that would leave the folder.
    """
    pictures = web_pictures(plan, made)
    tags = languages(plan)
    pages = {tag: _page_place(plan, tag) for tag in tags}
    files: dict[str, str] = {}
    for tag in tags:
        head = _head(plan, pictures, tag, disclosure)
        files[f"{tag}/head.html"] = f"{head}\n"
        files[f"{tag}/pictures.html"] = _pictures(plan, pictures, tag)
        place = pages[tag]
        page = page_html(plan, made, pictures, tag, head, disclosure=disclosure, place=place, pages=pages)
        files[place.removeprefix(f"{FOLDER}/")] = page
    return {"captions.csv": captions_csv(plan, tags, disclosure)} | {
        place: text.encode() for place, text in files.items()
    }


def _page_place(plan: Plan, tag: str) -> str:
    if not re.fullmatch(r"[A-Za-z0-9-]+", tag):
        raise ValueError(f"{tag!r} is no language tag")
    return f"{FOLDER}/index.html" if tag == plan.language else f"{FOLDER}/{tag}/index.html"


def _head(plan: Plan, pictures: tuple[WebPicture, ...], language: str, disclosure: str | None) -> str:
    preview = link_preview(pictures)
    head = rendered(
        "web_head.html",
        tags=open_graph(plan, preview, language),
        missing=open_graph_gaps(plan, preview),
        json=script_json(structured_data(plan, pictures, language, disclosure)) if pictures else None,
    )
    return head.strip()


def _pictures(plan: Plan, pictures: tuple[WebPicture, ...], language: str) -> str:
    address = published(plan.pictures_url)
    in_page = (picture for picture in pictures if picture.in_page)
    return rendered(
        "web_pictures.html",
        pictures=[(picture.rendition.name, picture_element(picture, language, address)) for picture in in_page],
    )
