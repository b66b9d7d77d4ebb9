"""The Open Graph tags of a post: what another site shows when somebody shares the link.

Source: The Open Graph protocol, ogp.me: four properties are required (title, type, image, url), and what describes an
image follows it. Addresses have to be whole ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.deliver.printable import printable
from pipeline.deliver.web.addresses import published, whole_address
from pipeline.deliver.web.pictures import MEDIA_TYPES
from pipeline.deliver.web.words import said

if TYPE_CHECKING:
    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.plan.rendition import Plan


def open_graph(plan: Plan, preview: WebPicture | None, language: str) -> tuple[tuple[str, str], ...]:
    """Return (property, content) of each tag in order; none where the job leaves out what they need.

    `preview` is the picture made for shared links. What is missing is said by `open_graph_gaps`.
    """
    post = whole_address(plan.post_url)
    if post is None or preview is None or open_graph_gaps(plan, preview):
        return ()
    picture = preview.standard
    alt = said(preview.facts, "alt", language)
    tags = [
        ("og:title", printable(plan.title)),
        ("og:type", "article"),
        ("og:url", post),
        ("og:image", published(plan.pictures_url)(picture.path)),
        ("og:image:type", MEDIA_TYPES[picture.format]),
        ("og:image:width", str(picture.size.width)),
        ("og:image:height", str(picture.size.height)),
    ]
    return (*tags, ("og:image:alt", alt.text)) if alt and alt.text else tuple(tags)


def open_graph_gaps(plan: Plan, preview: WebPicture | None) -> tuple[str, ...]:
    """Return what the job has to say before there can be tags, as its keys are written."""
    gaps = []
    if whole_address(plan.post_url) is None:
        gaps.append("site.post_url (the address of the post)")
    if whole_address(plan.pictures_url) is None:
        gaps.append("site.pictures_url (the address of the folder that the output folder is put to)")
    if preview is None:
        gaps.append("a frame with the target blog/link-preview")
    return tuple(gaps)
