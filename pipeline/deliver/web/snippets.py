"""The `picture` element of one picture. Source: HTML Living Standard 4.8.1 to 4.8.4."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.pages import rendered
from pipeline.deliver.web.pictures import MEDIA_TYPES, MODERN
from pipeline.deliver.web.words import direction_of_language, direction_of_text, said

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.deliver.web.pictures import WebPicture
    from pipeline.plan.rendition import Output


@dataclass(frozen=True, slots=True)
class _Source:
    """The files of one format: the address and true width in pixels of each."""

    media_type: str
    candidates: tuple[tuple[str, int], ...]


def picture_element(picture: WebPicture, language: str, address: Callable[[str], str]) -> str | None:
    """Return the HTML of a picture in a page of `language`; None where it has no alt text and is no decoration.

    `address` says where a path below the output folder is found. Formats stand lightest first, each with every width
    of it; `width` and `height` are those of the plain file in `src`, so that the page keeps its place free. A PNG
    beside a JPEG is not offered: browsers would always take the heavier one. All pictures but the lead one load when
    they come near. Language and direction are said where they are not the page's own.
    """
    alt = said(picture.facts, "alt", language)
    if alt is None:
        return None
    plain = picture.of_format(picture.standard.format)
    direction = direction_of_text(alt.text)
    html = rendered(
        "web_picture.html",
        sources=tuple(
            _source(files, address) for output_format in MODERN if (files := picture.of_format(output_format))
        ),
        plain=_source(plain, address),
        src=address(picture.standard.path),
        size=picture.standard.size,
        sizes=sizes(picture),
        alt=alt.text,
        language=alt.language if alt.text and alt.language != language else None,
        direction=direction if direction == "rtl" or direction_of_language(language) == "rtl" else None,
        lazy=not picture.lead,
        style=placeholder(picture),
    )
    # All of it is escaped, and all attributes stand in double quotes: for her eyes, an apostrophe may be one.
    return html.replace("&#39;", "'").replace("&#34;", "&quot;")


def sizes(picture: WebPicture) -> str:
    """Return how wide the page lays the picture out, as the attribute `sizes` says it.

    A picture of the text takes the window until the window is wider than the text column, then the column. One that
    goes over the whole window takes all of it, up to the width of its own widest file: nothing is shown enlarged.
    """
    limit = picture.layout_width or picture.widest
    return f"(min-width: {limit}px) {limit}px, 100vw"


def placeholder(picture: WebPicture) -> str | None:
    """Return the style that fills its place until the picture has come; None where its colour was not measured."""
    return f"background-color: {picture.colour}" if picture.colour else None


def _source(files: tuple[Output, ...], address: Callable[[str], str]) -> _Source:
    candidates = tuple((address(output.path), output.size.width) for output in files)
    return _Source(MEDIA_TYPES[files[0].format], candidates)
