"""An XMP packet, read as RDF/XML into plain values.

Sources: XMP Specification Part 1 (ISO 16684-1) clause 7 (serialisation: properties as elements or attributes,
structures as `rdf:parseType="Resource"`, as nested descriptions or as attributes; arrays as Bag, Seq, Alt), 8.2.2.4
(language alternatives).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lxml import etree

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.verify.read_back import XmpValue

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
PREFIXES = {
    RDF: "rdf",
    "http://purl.org/dc/elements/1.1/": "dc",
    "http://ns.adobe.com/xap/1.0/": "xmp",
    "http://ns.adobe.com/xap/1.0/rights/": "xmpRights",
    "http://ns.adobe.com/xap/1.0/mm/": "xmpMM",
    "http://ns.adobe.com/xmp/note/": "xmpNote",
    "http://ns.adobe.com/photoshop/1.0/": "photoshop",
    "http://ns.adobe.com/exif/1.0/": "exif",
    "http://ns.adobe.com/exif/1.0/aux/": "aux",
    "http://ns.adobe.com/tiff/1.0/": "tiff",
    "http://cipa.jp/exif/1.0/": "exifEX",
    "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/": "Iptc4xmpCore",
    "http://iptc.org/std/Iptc4xmpExt/2008-02-29/": "Iptc4xmpExt",
    "http://ns.useplus.org/ldf/xmp/1.0/": "plus",
    "http://www.metadataworkinggroup.com/schemas/regions/": "mwg-rs",
}
_LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"
_ARRAYS = {f"{{{RDF}}}{kind}": kind for kind in ("Bag", "Seq", "Alt")}
_DESCRIPTION, _VALUE, _LI = f"{{{RDF}}}Description", f"{{{RDF}}}value", f"{{{RDF}}}li"
_PACKET_LIMIT = 16 << 20
_DEPTH_LIMIT = 40


def read_properties(packet: bytes) -> tuple[dict[str, XmpValue], tuple[str, ...]]:
    """Return the properties by prefixed name, and in words what else the packet holds.

    ValueError for what is no XML, has a document type, is larger than any packet or nested deeper.
    """
    if len(packet) > _PACKET_LIMIT:
        raise ValueError(f"the XMP packet has {len(packet)} bytes")
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=False)
    try:
        root = etree.fromstring(packet.strip(b"\0"), parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise ValueError(f"the XMP packet is no sound XML ({' '.join(str(error).split())[:80]})") from None
    if root.getroottree().docinfo.internalDTD is not None:
        raise ValueError("the XMP packet declares a document type")
    properties: dict[str, XmpValue] = {}
    for description in _descriptions(root):
        properties |= _fields(description, 0)
    return properties, tuple(dict.fromkeys(_notes(root)))


def _descriptions(root: etree._Element) -> Iterator[etree._Element]:
    for rdf in root.iter(f"{{{RDF}}}RDF"):
        yield from (child for child in rdf if child.tag == _DESCRIPTION)


def _notes(root: etree._Element) -> Iterator[str]:
    """Give what a packet holds beside properties."""
    for node in (*reversed([*root.itersiblings(preceding=True)]), *root.iter(), *root.itersiblings()):
        if isinstance(node, etree._Comment):  # noqa: SLF001 (lxml names its node types so)
            yield "a comment (XMP)"
        elif isinstance(node, etree._ProcessingInstruction) and node.target != "xpacket":  # noqa: SLF001 (as above)
            yield f"a processing instruction {node.target!r} (XMP)"
    for child in root:
        if isinstance(child.tag, str) and child.tag != f"{{{RDF}}}RDF" and root.tag != f"{{{RDF}}}RDF":
            yield f"an element {_name(child.tag)!r} beside its properties (XMP)"


def _name(tag: str) -> str:
    """Return "dc:title" for a name of a known namespace, the whole name for any other."""
    namespace, _, local = tag.removeprefix("{").rpartition("}")
    prefix = PREFIXES.get(namespace)
    return f"{prefix}:{local}" if prefix else f"{namespace} {local}".strip()


def _fields(element: etree._Element, depth: int) -> dict[str, XmpValue]:
    """Return the properties of a description or structure: those written as attributes, then the elements."""
    fields: dict[str, XmpValue] = {
        _name(str(name)): str(text) for name, text in element.attrib.items() if _is_property(str(name))
    }
    for child in element:
        if isinstance(child.tag, str):
            fields[_name(child.tag)] = _value(child, depth + 1)
    return fields


def _is_property(attribute: str) -> bool:
    return attribute.startswith("{") and attribute != _LANGUAGE and not attribute.startswith(f"{{{RDF}}}")


def _value(element: etree._Element, depth: int) -> XmpValue:
    if depth > _DEPTH_LIMIT:
        raise ValueError("the XMP packet is nested too deeply")
    children = [child for child in element if isinstance(child.tag, str)]
    resource = element.get(f"{{{RDF}}}resource")
    if resource is not None:
        return str(resource)
    if element.get(f"{{{RDF}}}parseType") == "Resource":
        return _structure(_fields(element, depth))
    if len(children) == 1 and children[0].tag in _ARRAYS:
        return _array(children[0], depth)
    if len(children) == 1 and children[0].tag == _DESCRIPTION:
        return _structure(_fields(children[0], depth))
    if children or any(_is_property(str(name)) for name in element.attrib):
        return _fields(element, depth)
    return (element.text or "") + "".join(child.tail or "" for child in element)  # around comments


def _structure(fields: dict[str, XmpValue]) -> XmpValue:
    """Return the fields, or the value alone where they are a value with qualifiers."""
    return fields.get("rdf:value", fields)


def _array(array: etree._Element, depth: int) -> XmpValue:
    items = [child for child in array if child.tag == _LI]
    if array.tag == f"{{{RDF}}}Alt" and items and all(item.get(_LANGUAGE) for item in items):
        return {str(item.get(_LANGUAGE)).lower(): _value(item, depth + 1) for item in items}
    values = tuple(_value(item, depth + 1) for item in items)
    return tuple(sorted(values, key=repr)) if array.tag == f"{{{RDF}}}Bag" else values
