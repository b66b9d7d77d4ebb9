"""The words of an XMP packet, as far as they are ours to take.

A packet is a stranger's XML: entities are never resolved, nothing is fetched, and one with a document type is not
read at all, since XMP has none and only attacks need it. Sources: XMP Specification Part 1 (ISO 16684-1) clause 7
(the forms of RDF that XMP allows), 8.2.2.4 (language alternatives); [IPTC] (properties).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from lxml import etree

from pipeline.frames.clean import MAX_VALUES, digital_source, moment, plain, plain_line, plain_list, stars, web_address
from pipeline.frames.words import Words

if TYPE_CHECKING:
    from collections.abc import Iterator

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
DC = "{http://purl.org/dc/elements/1.1/}"
XMP = "{http://ns.adobe.com/xap/1.0/}"
RIGHTS = "{http://ns.adobe.com/xap/1.0/rights/}"
PHOTOSHOP = "{http://ns.adobe.com/photoshop/1.0/}"
CORE = "{http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/}"
EXT = "{http://iptc.org/std/Iptc4xmpExt/2008-02-29/}"
PLUS = "{http://ns.useplus.org/ldf/xmp/1.0/}"
LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"

CONTAINERS = (f"{RDF}Alt", f"{RDF}Bag", f"{RDF}Seq")
DEFAULT = "x-default"
_TAG = re.compile(r"[A-Za-z]{2,8}(-[A-Za-z0-9]{1,8})*")

Item = tuple[str, str]  # language tag or "", text


def xmp_words(packet: bytes) -> Words | None:
    """Return what a packet says; None where it is no XML that can be read safely, or holds no RDF. Never raises."""
    root = parse(packet)
    found = _properties(root) if root is not None else None
    if root is None or found is None:
        return None

    def texts(name: str) -> list[str]:
        return [text for _, text in found.get(name, [])]

    def text(name: str) -> str:
        return next(iter(texts(name)), "")

    alternatives = {
        "title": found.get(f"{DC}title", []),
        "description": found.get(f"{DC}description", []),
        "alt": found.get(f"{CORE}AltTextAccessibility", []),
        "long_alt": found.get(f"{CORE}ExtDescrAccessibility", []),
    }
    return Words(
        **{name: _default(items) for name, items in alternatives.items()},
        headline=_default(found.get(f"{PHOTOSHOP}Headline", [])),
        copyright=_default(found.get(f"{DC}rights", [])),
        usage_terms=_default(found.get(f"{RIGHTS}UsageTerms", [])),
        creators=plain_list(texts(f"{DC}creator")),
        creator_title=plain_line(text(f"{PHOTOSHOP}AuthorsPosition")),
        credit_line=plain_line(text(f"{PHOTOSHOP}Credit")),
        licence_url=web_address(text(f"{RIGHTS}WebStatement")),
        acquire_url=web_address(_licensor_url(root)),
        keywords=plain_list(texts(f"{DC}subject")),
        date_created=moment(text(f"{PHOTOSHOP}DateCreated")),
        source=plain_line(text(f"{PHOTOSHOP}Source")),
        digital_source=digital_source(text(f"{EXT}DigitalSourceType")),
        rating=stars(text(f"{XMP}Rating")),
        in_languages=tuple(
            (name, tag, words)
            for name, items in alternatives.items()
            for tag, item in items[:MAX_VALUES]
            if tag != DEFAULT and _TAG.fullmatch(tag) and (words := plain(item))
        ),
    )


def parse(packet: bytes) -> etree._Element | None:
    """Return the root element of a packet; None where it is not whole, or has a document type."""
    text = _as_utf_8(packet)
    if b"<!DOCTYPE" in text:
        return None
    # The encoding is set, not believed: a declared one could hide a document type from the line above.
    parser = etree.XMLParser(
        encoding="utf-8",
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        return etree.fromstring(text, parser)
    except (etree.XMLSyntaxError, ValueError):
        return None


def belongs_to(packet: bytes) -> str | None:
    """Return the ending of the file that a sidecar says it belongs to, in lower case; None where it does not say."""
    root = parse(packet)
    found = (_properties(root) if root is not None else None) or {}
    return next((text.strip().lower() or None for _, text in found.get(f"{PHOTOSHOP}SidecarForExtension", [])), None)


def extended_name(packet: bytes) -> str | None:
    """Return the name of the extended packet that belongs to this one (32 hexadecimal digits); None without one."""
    root = parse(packet)
    found = (_properties(root) if root is not None else None) or {}
    name = next((text.strip() for _, text in found.get("{http://ns.adobe.com/xmp/note/}HasExtendedXMP", [])), "")
    return name if re.fullmatch("[0-9A-Fa-f]{32}", name) else None


def _as_utf_8(packet: bytes) -> bytes:
    """Return the packet in UTF-8 and without the padding NULs of some containers; a sidecar may be UTF-16."""
    if packet.startswith((b"\xff\xfe", b"\xfe\xff")):
        return re.sub(r"^\ufeff?<\?xml [^>]*\?>", "", packet.decode("utf-16", "replace")).strip("\0").encode("utf-8")
    return packet.strip(b"\0 \t\r\n").removeprefix(b"\xef\xbb\xbf")


def _properties(root: etree._Element) -> dict[str, list[Item]] | None:
    """Return the items of each property of all descriptions, the first of a name; None where there is no RDF."""
    rdf = root if root.tag == f"{RDF}RDF" else next(root.iter(f"{RDF}RDF"), None)
    if rdf is None:
        return None
    found: dict[str, list[Item]] = {}
    for about in rdf:
        for name, value in about.attrib.items():
            found.setdefault(str(name), [("", str(value))])
        for one in about:
            found.setdefault(str(one.tag), list(_items(one)))
    return found


def _items(value: etree._Element) -> Iterator[Item]:
    """Yield the items of an array, or the one text of a simple value, each with its language."""
    array = next((child for child in value if child.tag in CONTAINERS), None)
    for item in value if array is None else array:
        if array is not None:
            yield item.get(LANGUAGE, ""), _simple(item)
    if array is None:
        yield value.get(LANGUAGE, ""), _simple(value)


def _simple(value: etree._Element) -> str:
    """Return the text of a simple value: a resource, a text, or an rdf:value with qualifiers beside it."""
    resource = value.get(f"{RDF}resource")
    if resource is not None:
        return str(resource)
    for node in (value, *value):
        qualified = node.get(f"{RDF}value") or next((child.text for child in node if child.tag == f"{RDF}value"), None)
        if qualified:
            return str(qualified)
    return value.text or "" if len(value) == 0 else ""


def _default(items: list[Item]) -> str | None:
    """Return the default text of a language alternative, or else the first."""
    ordered = sorted(items[:MAX_VALUES], key=lambda item: item[0] != DEFAULT)
    return next((text for _, item in ordered if (text := plain(item))), None)


def _licensor_url(root: etree._Element) -> str | None:
    """Return where a licence can be had: the first address among the licensors, and nothing else of them."""
    name = f"{PLUS}LicensorURL"
    for node in root.iter(etree.Element):
        if node.tag == name:
            return _simple(node)
        if value := node.get(name):
            return str(value)
    return None
