"""The contact sheet as a PDF: the page of `sheet_html`, laid out by WeasyPrint with the page's own print style.

Nothing is fetched, from a network or from disk: the pictures are handed over with the page. What a browser draws by the
page's style over a picture is drawn anew (`pdf_drawing`), for the library gives no style to drawings inside a page.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING
from urllib.parse import quote

import weasyprint
from weasyprint.urls import URLFetcher, URLFetcherResponse

from pipeline.deliver.pages import package_text
from pipeline.deliver.sheet.pdf_drawing import draw_anew

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from xml.etree.ElementTree import Element

    from pipeline.deliver.sheet.wanted import Paper

# What is there for a finger and a keyboard alone, and what nobody sees on paper.
_SCREEN_ALONE = {"with-script", "contents", "alone", "screen-only", "look"}
_SCREEN_TAGS = {"script", "template", "dialog"}


class NotOfThePage(ValueError):  # noqa: N818 (it is what was asked for)
    """An address was asked for that is none of the pictures handed over."""


class PagePictures(URLFetcher):  # type: ignore[misc]  # the library ships no types
    """Gives the pictures that were handed over, by address, and refuses every other address whatever it is."""

    def __init__(self, pictures: Mapping[str, tuple[str, bytes]]) -> None:
        """Hold the pictures: by address, media type and content."""
        super().__init__(allowed_protocols=(), allow_redirects=False, fail_on_errors=True)
        self._pictures = pictures

    def fetch(self, url: str, headers: Mapping[str, str] | None = None) -> URLFetcherResponse:  # noqa: ARG002 (its signature)
        """Return one of the pictures. Raises `NotOfThePage`, at which the library stops."""
        if url not in self._pictures:
            raise NotOfThePage(f"{url[:80]!r} is none of the pictures of this page")
        kind, data = self._pictures[url]
        return URLFetcherResponse(url, data, {"Content-Type": kind})


def picture_address(number: int) -> str:
    """Return the address by which a page names a picture that is handed over with it."""
    return f"picture:{number}"


def sheet_pdf(page: str, pictures: Mapping[str, bytes], paper: Paper) -> bytes:
    """Return a page of `sheet_html` as a tagged PDF 1.7 with an outline of its frames.

    `pictures` are the JPEGs that the page shows, by the addresses it names them by; they go in as they are. The same
    arguments give the same bytes where the same fonts are: no clock is asked, and the identifier is a digest.
    """
    handed = {address: ("image/jpeg", data) for address, data in pictures.items()}
    document = weasyprint.HTML(string=page, base_url="page:/", url_fetcher=PagePictures(handed))
    body: Element = document.etree_element
    _drop(body, _for_screens)
    for number, drawing in enumerate(draw_anew(body)):
        handed[f"drawing:{number}"] = ("image/svg+xml", drawing.encode())
    style = next(body.iter("style"))  # the page's own; a style sheet handed over apart would stand below it
    style.text = f"{style.text}\n{package_text('sheet_pdf.css')}@page{{size:{paper}}}"
    pdf: bytes = document.write_pdf(
        pdf_tags=True,
        pdf_version="1.7",
        pdf_identifier=_identifier(page, pictures, paper),
    )
    return pdf


def _identifier(page: str, pictures: Mapping[str, bytes], paper: Paper) -> bytes:
    """Return what tells this document from others (ISO 32000-1, 14.4): a digest of all that it is made from."""
    digest = hashlib.sha256(f"{paper}\n{page}".encode())
    for address in sorted(pictures):
        digest.update(quote(address).encode() + hashlib.sha256(pictures[address]).digest())
    return digest.hexdigest()[:32].encode()


def _for_screens(element: Element) -> bool:
    classes = set(element.get("class", "").split())
    return element.tag in _SCREEN_TAGS or bool(classes & _SCREEN_ALONE)


def _drop(parent: Element, unwanted: Callable[[Element], bool]) -> None:
    """Take elements out of a tree; the text after one of them stays."""
    for child in list(parent):
        if unwanted(child):
            _take_out(parent, child)
        else:
            if child.tag == "button":  # what opens a picture on a screen only holds it here
                child.tag = "div"
            _drop(child, unwanted)


def _take_out(parent: Element, child: Element) -> None:
    at = list(parent).index(child)
    if child.tail and at:
        before = parent[at - 1]
        before.tail = (before.tail or "") + child.tail
    elif child.tail:
        parent.text = (parent.text or "") + child.tail
    parent.remove(child)
