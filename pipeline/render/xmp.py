"""The XMP packet of a delivered picture, built as a tree.

Sources: XMP Specification Part 1 (ISO 16684-1) 7.3.2 (packet wrapper), 8.2.2.4 (language alternatives: `x-default`
first, repeated under its real language); IPTC Photo Metadata Standard 2025.1 (properties and their value types);
PLUS (Licensor).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lxml import etree

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.plan.facts import PictureFacts, Policy

NAMESPACES = {
    "x": "adobe:ns:meta/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "plus": "http://ns.useplus.org/ldf/xmp/1.0/",
}
_XML_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
_BEGIN, _END = 'begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"', 'end="w"'


def xmp_packet(facts: PictureFacts, policy: Policy) -> bytes:
    """Return the packet in UTF-8, with its wrapper and without padding; equal facts give equal bytes.

    A property that the facts are silent about is left out, and so is the alt text of a decorative picture.
    Job id and instructions are for whoever works with the picture, so the policy "public" leaves them out.
    ValueError for characters that XML 1.0 cannot hold.
    """
    meta = etree.Element(_name("x:xmpmeta"), nsmap={"x": NAMESPACES["x"]})
    rdf = etree.SubElement(meta, _name("rdf:RDF"), nsmap={"rdf": NAMESPACES["rdf"]})
    spaces = {prefix: uri for prefix, uri in NAMESPACES.items() if prefix not in {"x", "rdf"}}
    about = etree.SubElement(rdf, _name("rdf:Description"), {_name("rdf:about"): ""}, nsmap=spaces)
    language = facts.language

    _alternatives(about, "dc:title", facts.title, language)
    _alternatives(about, "dc:description", facts.description, language)
    _alternatives(about, "Iptc4xmpCore:AltTextAccessibility", None if facts.decorative else facts.alt, language)
    _array(about, "dc:creator", "rdf:Seq", facts.creators)
    _array(about, "dc:subject", "rdf:Bag", facts.keywords)
    _text(about, "photoshop:Credit", facts.credit_line)
    _text(about, "photoshop:DateCreated", facts.date_created)
    _alternatives(about, "dc:rights", facts.copyright, language)
    _text(about, "xmpRights:Marked", "True" if facts.copyright or facts.usage_terms else None)
    _text(about, "xmpRights:WebStatement", facts.licence_url)
    _alternatives(about, "xmpRights:UsageTerms", facts.usage_terms, language)
    _licensor(about, facts.acquire_url)
    if policy != "public":
        _text(about, "photoshop:TransmissionReference", facts.job_id)
        _text(about, "photoshop:Instructions", facts.instructions)

    meta.addprevious(etree.ProcessingInstruction("xpacket", _BEGIN))
    meta.addnext(etree.ProcessingInstruction("xpacket", _END))
    return etree.tostring(meta.getroottree(), encoding="utf-8", xml_declaration=False)


def _name(prefixed: str) -> str:
    """Return `dc:title` as lxml writes names, with the namespace itself."""
    prefix, local = prefixed.split(":")
    return f"{{{NAMESPACES[prefix]}}}{local}"


def _text(parent: etree._Element, name: str, value: str | None) -> None:
    if value:
        etree.SubElement(parent, _name(name)).text = value


def _array(parent: etree._Element, name: str, kind: str, values: Iterable[str]) -> None:
    items = [value for value in values if value]
    if items:
        array = etree.SubElement(etree.SubElement(parent, _name(name)), _name(kind))
        for item in items:
            etree.SubElement(array, _name("rdf:li")).text = item


def _alternatives(parent: etree._Element, name: str, value: str | None, language: str) -> None:
    """Add a language alternative: the default first, then the same text under its language."""
    if value:
        array = etree.SubElement(etree.SubElement(parent, _name(name)), _name("rdf:Alt"))
        for tag in ("x-default", language):
            etree.SubElement(array, _name("rdf:li"), {_XML_LANGUAGE: tag}).text = value


def _licensor(parent: etree._Element, url: str | None) -> None:
    """Add the licensor as a sequence of one structure."""
    if url:
        array = etree.SubElement(etree.SubElement(parent, _name("plus:Licensor")), _name("rdf:Seq"))
        item = etree.SubElement(array, _name("rdf:li"), {_name("rdf:parseType"): "Resource"})
        etree.SubElement(item, _name("plus:LicensorURL")).text = url
