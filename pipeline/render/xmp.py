"""The XMP packet of a delivered picture, built as a tree.

Sources: XMP Specification Part 1 (ISO 16684-1) 7.3.2 (packet wrapper), 8.2.2.4 (language alternatives: `x-default`
first, repeated under its real language); IPTC Photo Metadata Standard 2025.1 (properties and their value types);
PLUS (Licensor, CopyrightOwner).

`photoshop:Headline` is written as plain text: its namespace defines it so (XMP Specification Part 2), and readers
of plain text cannot read an alternative, while those of alternatives take plain text for the default. One published
table of the IPTC (TechReference 2021.1) calls it an alternative.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING

from lxml import etree

from pipeline.render.stated import stated

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from pipeline.plan.facts import Contact, Contributor, PictureFacts, Policy, Translation

NAMESPACES = {
    "x": "adobe:ns:meta/",
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpCore": "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "plus": "http://ns.useplus.org/ldf/xmp/1.0/",
}
DIGITAL_SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/"
_TERM = re.compile("[A-Za-z]+")
_RATINGS = range(-1, 6)
_XML_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
_DEFAULT_LANGUAGE = "x-default"
_BEGIN, _END = 'begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"', 'end="w"'


@lru_cache(maxsize=16)  # the files of a frame say the same
def xmp_packet(facts: PictureFacts, policy: Policy) -> bytes:
    """Return the packet in UTF-8, with its wrapper and without padding; equal facts give equal bytes.

    A property that the facts are silent about is left out. What each policy leaves out is said by `stated`: under
    "public" job id, instructions, the day of release and the rating, under "proof" all that gives or sells a licence,
    under "full" nothing. The days of release and expiry have no property of the IPTC standard; IIM holds them.
    ValueError for words that no file can carry, a digital source that is not one term, and a rating outside -1..5.
    """
    facts = stated(facts, policy)
    language = facts.language
    meta = etree.Element(_name("x:xmpmeta"), nsmap={"x": NAMESPACES["x"]})
    rdf = etree.SubElement(meta, _name("rdf:RDF"), nsmap={"rdf": NAMESPACES["rdf"]})
    spaces = {prefix: uri for prefix, uri in NAMESPACES.items() if prefix not in {"x", "rdf"}}
    about = etree.SubElement(rdf, _name("rdf:Description"), {_name("rdf:about"): ""}, nsmap=spaces)

    _alternatives(about, "dc:title", _translated(facts, lambda words: words.title))
    _text(about, "photoshop:Headline", facts.headline)
    _alternatives(about, "dc:description", _translated(facts, lambda words: words.description))
    _text(about, "photoshop:CaptionWriter", facts.caption_writer)
    _alternatives(about, "Iptc4xmpCore:AltTextAccessibility", _translated(facts, lambda words: words.alt))
    _alternatives(about, "Iptc4xmpCore:ExtDescrAccessibility", _translated(facts, lambda words: words.long_alt))
    _array(about, "dc:subject", "rdf:Bag", facts.keywords)
    _array(about, "dc:creator", "rdf:Seq", facts.creators)
    _text(about, "photoshop:AuthorsPosition", facts.creator_title)
    _contact(about, facts.contact)
    _contributors(about, facts.contributors, language)
    _text(about, "photoshop:Credit", facts.credit_line)
    _text(about, "photoshop:Source", facts.source)
    _text(about, "photoshop:DateCreated", facts.date_created)
    _text(about, "Iptc4xmpExt:DigitalSourceType", _digital_source(facts.digital_source))
    _alternatives(about, "dc:rights", {language: facts.copyright})
    _text(about, "xmpRights:Marked", "True" if facts.copyright or facts.usage_terms else None)
    _text(about, "xmpRights:WebStatement", facts.licence_url)
    _alternatives(about, "xmpRights:UsageTerms", {language: facts.usage_terms})
    _structures(about, "plus:CopyrightOwner", {"plus:CopyrightOwnerName": facts.owner})
    _structures(about, "plus:Licensor", {"plus:LicensorName": facts.licensor, "plus:LicensorURL": facts.acquire_url})
    _text(about, "photoshop:TransmissionReference", facts.job_id)
    _text(about, "photoshop:Instructions", facts.instructions)
    _text(about, "xmp:Rating", _rating(facts.rating))

    meta.addprevious(etree.ProcessingInstruction("xpacket", _BEGIN))
    meta.addnext(etree.ProcessingInstruction("xpacket", _END))
    return etree.tostring(meta.getroottree(), encoding="utf-8", xml_declaration=False)


# What the facts mean


def _translated(facts: PictureFacts, pick: Callable[[PictureFacts | Translation], str | None]) -> dict[str, str | None]:
    """Return a text by language, the shoot's own first; of two for one language the first."""
    texts: dict[str, str | None] = {}
    seen: set[str] = set()
    every: tuple[PictureFacts | Translation, ...] = (facts, *facts.translations)
    for words in every:
        text, tag = pick(words), words.language.lower()  # BCP 47 2.1.1: tags do not differ by case
        if text and tag not in seen:
            seen.add(tag)
            texts[words.language] = text
    return texts


def _digital_source(term: str | None) -> str | None:
    """Return the URI of a term; that it is one of the vocabulary is for the job to see to."""
    if not term:
        return None
    if not _TERM.fullmatch(term):
        raise ValueError(f"the digital source {term!r} is not the last part of a term of {DIGITAL_SOURCE_TYPE}")
    return DIGITAL_SOURCE_TYPE + term


def _rating(rating: int | None) -> str | None:
    if rating is not None and rating not in _RATINGS:
        raise ValueError(f"the rating {rating} is not one of -1 (rejected) to 5")
    return None if rating is None else str(rating)


def _contact(parent: etree._Element, contact: Contact | None) -> None:
    if contact:
        fields = {
            "Iptc4xmpCore:CiAdrExtadr": contact.address,
            "Iptc4xmpCore:CiAdrCity": contact.city,
            "Iptc4xmpCore:CiAdrRegion": contact.region,
            "Iptc4xmpCore:CiAdrPcode": contact.postcode,
            "Iptc4xmpCore:CiAdrCtry": contact.country,
            "Iptc4xmpCore:CiTelWork": contact.phone,
            "Iptc4xmpCore:CiEmailWork": contact.email,
            "Iptc4xmpCore:CiUrlWork": contact.url,
        }
        if any(fields.values()):
            _fields(_resource(parent, "Iptc4xmpCore:CreatorContactInfo"), fields)


def _contributors(parent: etree._Element, contributors: Iterable[Contributor], language: str) -> None:
    """Add those beside the photographer: each a name (a language alternative) and a role (one of any number)."""
    named = [one for one in contributors if one.name]
    if named:
        array = _container(parent, "Iptc4xmpExt:Contributor", "rdf:Bag")
        for one in named:
            item = _resource(array, "rdf:li")
            _alternatives(item, "Iptc4xmpExt:Name", {language: one.name})
            _array(item, "Iptc4xmpExt:Role", "rdf:Bag", [one.role])


# How XMP writes it


def _name(prefixed: str) -> str:
    """Return `dc:title` as lxml writes names, with the namespace itself."""
    prefix, local = prefixed.split(":")
    return f"{{{NAMESPACES[prefix]}}}{local}"


def _text(parent: etree._Element, name: str, value: str | None) -> None:
    if value:
        etree.SubElement(parent, _name(name)).text = value


def _container(parent: etree._Element, name: str, kind: str) -> etree._Element:
    return etree.SubElement(etree.SubElement(parent, _name(name)), _name(kind))


def _resource(parent: etree._Element, name: str) -> etree._Element:
    """Add an element whose children are the fields of a structure."""
    return etree.SubElement(parent, _name(name), {_name("rdf:parseType"): "Resource"})


def _fields(structure: etree._Element, fields: Mapping[str, str | None]) -> None:
    for name, value in fields.items():
        _text(structure, name, value)


def _array(parent: etree._Element, name: str, kind: str, values: Iterable[str]) -> None:
    items = [value for value in values if value]
    if items:
        array = _container(parent, name, kind)
        for item in items:
            _text(array, "rdf:li", item)


def _alternatives(parent: etree._Element, name: str, texts: Mapping[str, str | None]) -> None:
    """Add a language alternative: the first text as the default, then each under its language."""
    written = {tag: text for tag, text in texts.items() if text}
    if written:
        array = _container(parent, name, "rdf:Alt")
        default = next(iter(written.values()))
        for tag, text in ((_DEFAULT_LANGUAGE, default), *written.items()):
            etree.SubElement(array, _name("rdf:li"), {_XML_LANGUAGE: tag}).text = text


def _structures(parent: etree._Element, name: str, fields: Mapping[str, str | None]) -> None:
    """Add a sequence of one structure, unless none of its fields is there."""
    if any(fields.values()):
        _fields(_resource(_container(parent, name, "rdf:Seq"), "rdf:li"), fields)
