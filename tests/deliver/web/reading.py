"""HTML read back as the standard reads it, and text that tries to break out of it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import html5lib
from hypothesis import strategies as st

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

ATTACKS = (
    '" onload="alert(1)',
    "' onload='alert(1)",
    "</textarea><script>alert(1)</script>",
    "</script><script>alert(1)</script>",
    "<!-- <script>",
    "--><img src=x>",
    "</style></title>",
    "&quot;&lt;&amp;lt;&#39;&#34;",
    "{{ 7 * 7 }}{% raw %}",
    "\\u003c/script>",
    "]]>",
    "a, b 2x",
    "\n\n  lines\r\nand\ttabs\r",
    "\x00\x1b\x7f\ud800\ufffe\U0001ffff",
    "\u2028\u2029\u202e\u2066",
    'مرحبا < بكم > "نعم"',
    "🍲👩🏽‍🍳 é e\u0301",
    '=HYPERLINK("x")',
)
_START = '<!DOCTYPE html>\n<html lang="{}"><head><meta charset="utf-8"><title>t</title>\n'
hostile = st.lists(st.sampled_from(ATTACKS) | st.text(max_size=12), min_size=1, max_size=4).map("".join)


def parsed(page: str) -> Element:
    """Parse a document as the HTML standard does; any parse error raises."""
    root: Element = html5lib.HTMLParser(namespaceHTMLElements=False, strict=True).parse(page)
    return root


def in_page(fragment: str, language: str = "en") -> str:
    """Return a whole page around what belongs into a body."""
    return _START.format(language) + f"</head><body>\n{fragment}</body></html>\n"


def in_head(fragment: str, language: str = "en") -> str:
    """Return a whole page around what belongs into a head."""
    return _START.format(language) + f"{fragment}</head><body><p>t</p></body></html>\n"


def picture_of(fragment: str) -> Element:
    """Return the one picture element of a fragment."""
    (picture,) = parsed(in_page(fragment)).iter("picture")
    return picture


def shape(page: Element) -> list[tuple[str, tuple[str, ...]]]:
    """Return the elements and the names of their attributes in document order: what markup is made of."""
    return [(str(element.tag), tuple(sorted(map(str, element.keys())))) for element in page.iter()]


def holds(text: str) -> str:
    """Return text as an HTML document can hold it, worked out letter by letter. Source: HTML 13.2.3.5."""
    text = re.sub("\r\n?", "\n", text)
    return "".join("\ufffd" if _barred(ord(letter)) else letter for letter in text)


def _barred(code: int) -> bool:
    control = (code < 0x20 and code not in (0x09, 0x0A)) or 0x7F <= code <= 0x9F
    return control or 0xD800 <= code <= 0xDFFF or 0xFDD0 <= code <= 0xFDEF or code & 0xFFFE == 0xFFFE
