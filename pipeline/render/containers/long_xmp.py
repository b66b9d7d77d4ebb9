"""XMP that one JPEG segment cannot hold: the longest properties move to an extended packet.

Source: XMP Specification Part 3 (2020) 1.1.3.1: a main packet of at most 65502 bytes with `xmpNote:HasExtendedXMP`;
whole top-level properties in the extended serialisation, which has no packet wrapper; its MD5 in upper-case hexadecimal
as the name by which segments and main packet find each other.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from lxml import etree

if TYPE_CHECKING:
    from collections.abc import Iterator

MAIN_LIMIT, CHUNK_LIMIT = 65502, 65458
_RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
_NOTE = "http://ns.adobe.com/xmp/note/"
_NAME_LENGTH = 32


def divided(packet: bytes) -> tuple[bytes, bytes]:
    """Return the main packet and the extended serialisation, which is empty where the packet fits as it is.

    The longest properties move first, of two as long the earlier one, until the rest fits; so readers that do not
    assemble the parts still find the short facts. Equal packets are divided alike. ValueError for a packet
    that is too long and no XMP of one description.
    """
    if len(packet) <= MAIN_LIMIT:
        return packet, b""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        main = etree.fromstring(packet, parser)
    except etree.XMLSyntaxError:
        raise ValueError(f"the XMP packet has {len(packet)} bytes and cannot be divided: it is not XML") from None
    descriptions = list(main.iter(f"{_RDF}Description"))
    if len(descriptions) != 1:
        raise ValueError(f"the XMP packet has {len(packet)} bytes and cannot be divided: it has no one description")
    return _moved(main, descriptions[0])


def chunks(extended: bytes) -> Iterator[bytes]:
    """Give the bodies of the segments behind their signature: name, whole length, offset, a part of the bytes."""
    head = _name_of(extended).encode("ascii") + len(extended).to_bytes(4, "big")
    for start in range(0, len(extended), CHUNK_LIMIT):
        yield head + start.to_bytes(4, "big") + extended[start : start + CHUNK_LIMIT]


def _moved(main: etree._Element, about: etree._Element) -> tuple[bytes, bytes]:
    """Move properties from one description to another until the first fits."""
    spaces = {prefix: uri for prefix, uri in about.nsmap.items() if prefix}
    extended = etree.Element(main.tag, nsmap=spaces)
    rest = etree.SubElement(etree.SubElement(extended, f"{_RDF}RDF"), f"{_RDF}Description")
    rest.attrib.update(about.attrib)
    longest_first = sorted(about, key=lambda one: -len(etree.tostring(one, encoding="utf-8")))
    note = etree.SubElement(about, f"{{{_NOTE}}}HasExtendedXMP", nsmap={"xmpNote": _NOTE})
    note.text = "0" * _NAME_LENGTH
    for one in longest_first:
        if len(_packet(main)) <= MAIN_LIMIT:
            break
        rest.append(one)
    written = etree.tostring(extended, encoding="utf-8")
    note.text = _name_of(written)
    packet = _packet(main)
    if len(packet) > MAIN_LIMIT:
        raise ValueError(f"the XMP packet cannot be divided: {len(packet)} bytes are left without any property")
    return packet, written


def _packet(main: etree._Element) -> bytes:
    """Return the packet with its wrapper, which stands before and behind the root element."""
    return etree.tostring(main.getroottree(), encoding="utf-8", xml_declaration=False)


def _name_of(extended: bytes) -> str:
    return hashlib.md5(extended, usedforsecurity=False).hexdigest().upper()
