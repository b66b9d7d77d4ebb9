"""What independent readers find in a delivered file, each reading in one form, and what they should find.

A reading is a dict by place and fact, `"xmp title"` or `"iim keywords"`; a fact that is not there has no key. A
language alternative is a dict by language in lower case, an array a list, a structure a dict by local name. Dates are
ISO 8601. The names of tags and properties are those of each reader's own tables.
"""

from __future__ import annotations

import io
import json
import re
import xml.etree.ElementTree as ET  # a parser apart from the writer's
from typing import TYPE_CHECKING, Any, NamedTuple

import pytest
import rdflib
from PIL import Image
from rdflib import RDF, Literal, URIRef

from tests.exiftool import exiftool_says

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from rdflib.term import Node

    from pipeline.plan.facts import PictureFacts, Policy
    from pipeline.plan.rendition import OutputFormat

Reading = dict[str, Any]

DC, XMP = "http://purl.org/dc/elements/1.1/", "http://ns.adobe.com/xap/1.0/"
PHOTOSHOP, RIGHTS = "http://ns.adobe.com/photoshop/1.0/", "http://ns.adobe.com/xap/1.0/rights/"
CORE, EXT = "http://iptc.org/std/Iptc4xmpCore/1.0/xmlns/", "http://iptc.org/std/Iptc4xmpExt/2008-02-29/"
PLUS = "http://ns.useplus.org/ldf/xmp/1.0/"


class Property(NamedTuple):
    """One property of XMP by its URI, and by the names that two readers give it."""

    fact: str
    uri: str
    exiftool: str
    exiv2: str


TEXTS = (
    Property("headline", PHOTOSHOP + "Headline", "XMP-photoshop:Headline", "Xmp.photoshop.Headline"),
    Property(
        "caption_writer", PHOTOSHOP + "CaptionWriter", "XMP-photoshop:CaptionWriter", "Xmp.photoshop.CaptionWriter"
    ),
    Property(
        "creator_title", PHOTOSHOP + "AuthorsPosition", "XMP-photoshop:AuthorsPosition", "Xmp.photoshop.AuthorsPosition"
    ),
    Property("credit_line", PHOTOSHOP + "Credit", "XMP-photoshop:Credit", "Xmp.photoshop.Credit"),
    Property("source", PHOTOSHOP + "Source", "XMP-photoshop:Source", "Xmp.photoshop.Source"),
    Property("date_created", PHOTOSHOP + "DateCreated", "XMP-photoshop:DateCreated", "Xmp.photoshop.DateCreated"),
    Property(
        "job_id",
        PHOTOSHOP + "TransmissionReference",
        "XMP-photoshop:TransmissionReference",
        "Xmp.photoshop.TransmissionReference",
    ),
    Property("instructions", PHOTOSHOP + "Instructions", "XMP-photoshop:Instructions", "Xmp.photoshop.Instructions"),
    Property(
        "digital_source", EXT + "DigitalSourceType", "XMP-iptcExt:DigitalSourceType", "Xmp.iptcExt.DigitalSourceType"
    ),
    Property("licence_url", RIGHTS + "WebStatement", "XMP-xmpRights:WebStatement", "Xmp.xmpRights.WebStatement"),
    Property("marked", RIGHTS + "Marked", "XMP-xmpRights:Marked", "Xmp.xmpRights.Marked"),
    Property("rating", XMP + "Rating", "XMP-xmp:Rating", "Xmp.xmp.Rating"),
)
ALTERNATIVES = (
    Property("title", DC + "title", "XMP-dc:Title", "Xmp.dc.title"),
    Property("description", DC + "description", "XMP-dc:Description", "Xmp.dc.description"),
    Property("copyright", DC + "rights", "XMP-dc:Rights", "Xmp.dc.rights"),
    Property("usage_terms", RIGHTS + "UsageTerms", "XMP-xmpRights:UsageTerms", "Xmp.xmpRights.UsageTerms"),
    Property(
        "alt", CORE + "AltTextAccessibility", "XMP-iptcCore:AltTextAccessibility", "Xmp.iptc.AltTextAccessibility"
    ),
    Property(
        "long_alt",
        CORE + "ExtDescrAccessibility",
        "XMP-iptcCore:ExtDescrAccessibility",
        "Xmp.iptc.ExtDescrAccessibility",
    ),
)
ARRAYS = (
    Property("creators", DC + "creator", "XMP-dc:Creator", "Xmp.dc.creator"),
    Property("keywords", DC + "subject", "XMP-dc:Subject", "Xmp.dc.subject"),
)
STRUCTURES = (
    Property("owner", PLUS + "CopyrightOwner", "XMP-plus:CopyrightOwner", "Xmp.plus.CopyrightOwner"),
    Property("licensor", PLUS + "Licensor", "XMP-plus:Licensor", "Xmp.plus.Licensor"),
    Property("contributors", EXT + "Contributor", "XMP-iptcExt:Contributor", "Xmp.iptcExt.Contributor"),
)
CONTACT = Property(
    "contact", CORE + "CreatorContactInfo", "XMP-iptcCore:CreatorContactInfo", "Xmp.iptc.CreatorContactInfo"
)
# Bag, Seq or Alt as the standards have it (IPTC Photo Metadata Standard 2025.1; PLUS, from memory).
KINDS = {"creators": "Seq", "keywords": "Bag", "owner": "Seq", "licensor": "Seq", "contributors": "Bag"}
CONTACT_FIELDS = {
    "address": "CiAdrExtadr",
    "city": "CiAdrCity",
    "region": "CiAdrRegion",
    "postcode": "CiAdrPcode",
    "country": "CiAdrCtry",
    "phone": "CiTelWork",
    "email": "CiEmailWork",
    "url": "CiUrlWork",
}


class Dataset(NamedTuple):
    """One dataset of IIM 4.2 with its greatest length in octets, and the names that two readers give it."""

    fact: str
    number: int
    octets: int
    exiftool: str
    exiv2: str


DATASETS = (
    Dataset("title", 5, 64, "ObjectName", "ObjectName"),
    Dataset("keywords", 25, 64, "Keywords", "Keywords"),
    Dataset("not_before", 30, 8, "ReleaseDate", "ReleaseDate"),
    Dataset("not_before_time", 35, 11, "ReleaseTime", "ReleaseTime"),
    Dataset("licence_ends", 37, 8, "ExpirationDate", "ExpirationDate"),
    Dataset("licence_ends_time", 38, 11, "ExpirationTime", "ExpirationTime"),
    Dataset("instructions", 40, 256, "SpecialInstructions", "SpecialInstructions"),
    Dataset("date_created", 55, 8, "DateCreated", "DateCreated"),
    Dataset("date_created_time", 60, 11, "TimeCreated", "TimeCreated"),
    Dataset("creators", 80, 32, "By-line", "Byline"),
    Dataset("creator_title", 85, 32, "By-lineTitle", "BylineTitle"),
    Dataset("job_id", 103, 32, "OriginalTransmissionReference", "TransmissionReference"),
    Dataset("headline", 105, 256, "Headline", "Headline"),
    Dataset("credit_line", 110, 32, "Credit", "Credit"),
    Dataset("source", 115, 32, "Source", "Source"),
    Dataset("copyright", 116, 128, "CopyrightNotice", "Copyright"),
    Dataset("description", 120, 2000, "Caption-Abstract", "Caption"),
    Dataset("caption_writer", 122, 32, "Writer-Editor", "Writer"),
)
DAYS = {f"{fact}{part}" for fact in ("not_before", "licence_ends", "date_created") for part in ("", "_time")}
REPEATABLE = {"keywords", "creators"}
WITH_IIM: set[OutputFormat] = {"jpeg", "tiff"}
# What a policy does not state (the words of pipeline.render.stated, written down once more).
NOT_STATED = {
    "public": {"job_id", "instructions", "not_before", "not_before_time", "rating"},
    "full": set[str](),
    "proof": {"licensor", "acquire_url", "licence_ends", "licence_ends_time", "rating"},
}


# What should be found


def expected(facts: PictureFacts, policy: Policy, form: OutputFormat) -> Reading:
    """Return what each reader should find in a file of this format, as far as the reader knows the place."""
    unstated = NOT_STATED[policy]

    def fact(name: str) -> Any:  # noqa: ANN401 (of the type of that fact)
        value = getattr(facts, name)
        return None if name in unstated or (facts.decorative and name in {"alt", "long_alt"}) else value

    found: Reading = {f"xmp {one.fact}": fact(one.fact) for one in TEXTS if one.fact != "marked"}
    found["xmp marked"] = "True" if facts.copyright or facts.usage_terms else None
    if facts.digital_source:
        found["xmp digital_source"] = f"http://cv.iptc.org/newscodes/digitalsourcetype/{facts.digital_source}"
    if fact("rating") is not None:
        found["xmp rating"] = str(facts.rating)
    for one in ALTERNATIVES:
        own = {facts.language: fact(one.fact)}
        for words in facts.translations if one.fact in {"title", "description", "alt", "long_alt"} else ():
            muted = facts.decorative and one.fact in {"alt", "long_alt"}
            own.setdefault(words.language, None if muted else getattr(words, one.fact))
        texts = {tag.lower(): text for tag, text in own.items() if text}
        found[f"xmp {one.fact}"] = {"x-default": next(iter(texts.values()))} | texts if texts else None
    for name in ("creators", "keywords"):
        found[f"xmp {name}"] = list(fact(name))
    found["xmp owner"] = _one_structure(CopyrightOwnerName=fact("owner"))
    found["xmp licensor"] = _one_structure(LicensorName=fact("licensor"), LicensorURL=fact("acquire_url"))
    found["xmp contributors"] = [
        {"Name": {"x-default": one.name, facts.language.lower(): one.name}, "Role": [one.role]}
        for one in facts.contributors
    ]
    contact = {local: getattr(facts.contact, name, None) for name, local in CONTACT_FIELDS.items()}
    found["xmp contact"] = {local: text for local, text in contact.items() if text}
    found |= {
        "exif description": fact("description"),
        "exif creators": list(facts.creators),
        "exif copyright": fact("copyright"),
        "exif date_created": _timed(facts.date_created),
    }
    if form in WITH_IIM:
        for dataset in DATASETS:
            found[f"iim {dataset.fact}"] = _in_iim(dataset, facts, unstated)
    return {place: value for place, value in found.items() if value}


def _one_structure(**fields: str | None) -> list[dict[str, str]]:
    there = {name: text for name, text in fields.items() if text}
    return [there] if there else []


def _timed(date: str | None) -> str | None:
    """Return a date with a time as Exif has it, parts of a second without zeros behind; of a date alone nothing."""
    return re.sub(r"(\.\d*?)0+(?=[+-]|$)", r"\1", date) if date and "T" in date else None


def _in_iim(dataset: Dataset, facts: PictureFacts, unstated: set[str]) -> Any:  # noqa: ANN401 (text or texts)
    if dataset.fact in unstated:
        return None
    match dataset.fact:
        case "date_created" | "not_before" | "licence_ends":
            return (getattr(facts, dataset.fact) or "")[:10] or None
        case "date_created_time" | "not_before_time" | "licence_ends_time":
            text = getattr(facts, dataset.fact.removesuffix("_time")) or ""
            clock = re.fullmatch(r".{10}T(\d\d:\d\d:\d\d)(?:\.\d+)?([+-]\d\d:\d\d)", text)
            return clock[1] + clock[2] if clock else None
        case "keywords" | "creators":
            return [shortened(text, dataset.octets) for text in getattr(facts, dataset.fact)]
        case _:
            return shortened(getattr(facts, dataset.fact) or "", dataset.octets)


def shortened(text: str, octets: int) -> str:
    """Return the longest beginning of a text that has at most so many octets in UTF-8, character by character."""
    kept, used = "", 0
    for character in text:
        used += len(character.encode())
        if used > octets:
            break
        kept += character
    return kept


# Exiftool


def read_by_exiftool(paths: Sequence[Path], *options: str) -> list[dict[str, Any]]:
    """Return the tags of each file by `Group:Name`, stored values, numbers as they are written; one call for all.

    Without -m exiftool stops at the thousandth item of a list.
    """
    said = exiftool_says("-json", "-G1", "-struct", "-n", "-m", *options, *paths)
    tags: list[dict[str, Any]] = json.loads(said, parse_int=str, parse_float=str)
    return tags


def exiftool_reading(tags: Mapping[str, Any]) -> Reading:
    """Return the reading in exiftool's tags of one file, which were read with its MWG rules for lists in Exif."""
    found: Reading = {f"xmp {one.fact}": tags.get(one.exiftool) for one in TEXTS}
    found["xmp marked"] = {True: "True"}.get(tags.get("XMP-xmpRights:Marked", ""))
    found["xmp date_created"] = _iso(tags.get("XMP-photoshop:DateCreated"))
    for one in ALTERNATIVES:
        found[f"xmp {one.fact}"] = _exiftool_alternative(tags, one.exiftool)
    for one in ARRAYS:
        found[f"xmp {one.fact}"] = _list(tags.get(one.exiftool))
    for one in STRUCTURES:
        found[f"xmp {one.fact}"] = tags.get(one.exiftool)
    found["xmp contributors"] = [
        {"Name": _exiftool_alternative(one, "Name"), "Role": _list(one.get("Role"))}
        for one in tags.get("XMP-iptcExt:Contributor", ())
    ]
    found["xmp contact"] = tags.get(CONTACT.exiftool)
    for dataset in DATASETS:
        value = tags.get(f"IPTC:{dataset.exiftool}")
        if dataset.fact in DAYS:
            value = _iso(value)
        found[f"iim {dataset.fact}"] = _list(value) if dataset.fact in REPEATABLE else value
    found["exif description"] = tags.get("IFD0:ImageDescription")
    found["exif creators"] = _list(tags.get("IFD0:Artist"))
    found["exif copyright"] = tags.get("IFD0:Copyright")
    found["exif date_created"] = _iso(
        _moment(tags.get, "ExifIFD:DateTimeOriginal", "ExifIFD:SubSecTimeOriginal", "ExifIFD:OffsetTimeOriginal")
    )
    return {place: value for place, value in found.items() if value}


def mwg_reading(tags: Mapping[str, Any]) -> Reading:
    """Return what exiftool makes of Exif, IIM and XMP together by the rules of MWG 2.0."""
    found: Reading = {"description": tags.get("MWG:Description"), "copyright": tags.get("MWG:Copyright")}
    found |= {"keywords": _list(tags.get("MWG:Keywords")), "creators": _list(tags.get("MWG:Creator"))}
    return {name: value for name, value in found.items() if value}


def _exiftool_alternative(tags: Mapping[str, Any], name: str) -> dict[str, str]:
    by_language = {tag.removeprefix(name)[1:].lower(): text for tag, text in tags.items() if tag.startswith(f"{name}-")}
    return ({"x-default": tags[name]} if name in tags else {}) | by_language


def _list(value: Any) -> list[Any]:  # noqa: ANN401 (exiftool gives a list of one as its item)
    return value if isinstance(value, list) else [] if value is None else [value]


def _iso(date: str | None) -> str | None:
    """Return a date as ISO 8601: exiftool and Exif write colons in it and a space before the time."""
    if date is None or not re.match(r"\d{4}:", date):
        return date
    return re.sub(r"^(\d{4}):(\d\d):(\d\d)(?: |$)", r"\1-\2-\3T", date).removesuffix("T")


def _moment(get: Any, time: str, part: str, offset: str) -> str | None:  # noqa: ANN401 (the get of a dict)
    """Return what Exif says in three tags as one."""
    if get(time) is None:
        return None
    return f"{get(time)}{'.' + get(part) if get(part) else ''}{get(offset) or ''}"


# Libexiv2


def exiv2_reading(path: Path) -> Reading:
    """Return what libexiv2 reads; nothing of XMP beyond the main packet of a JPEG file."""
    pyexiv2 = pytest.importorskip("pyexiv2", reason="judge missing: pyexiv2")
    pyexiv2.set_log_level(4)  # what it cannot read it leaves out, and that is what is tested
    with pyexiv2.Image(str(path)) as image:
        xmp, exif, iim = image.read_xmp(), image.read_exif(), image.read_iptc()
    found: Reading = {f"xmp {one.fact}": xmp.get(one.exiv2) for one in (*TEXTS, *ARRAYS)}
    for one in ALTERNATIVES:
        found[f"xmp {one.fact}"] = _exiv2_alternative(xmp.get(one.exiv2))
    for one in STRUCTURES:
        items = (f"{one.exiv2}[{number}]" for number in range(1, len(xmp) + 1))
        found[f"xmp {one.fact}"] = [_exiv2_structure(xmp, item) for item in items if item in xmp]
    found["xmp contact"] = _exiv2_structure(xmp, CONTACT.exiv2)
    for dataset in DATASETS:
        value = iim.get(f"Iptc.Application2.{dataset.exiv2}")
        # What IIM lets be repeated comes as a list, also where we write it once.
        found[f"iim {dataset.fact}"] = value[0] if isinstance(value, list) and dataset.fact not in REPEATABLE else value
    found["exif description"] = exif.get("Exif.Image.ImageDescription")
    found["exif copyright"] = exif.get("Exif.Image.Copyright")
    found["exif creators"] = names_in(exif.get("Exif.Image.Artist"))
    found["exif date_created"] = _iso(
        _moment(
            exif.get,
            "Exif.Photo.DateTimeOriginal",
            "Exif.Photo.SubSecTimeOriginal",
            "Exif.Photo.OffsetTimeOriginal",
        )
    )
    return {place: value for place, value in found.items() if value}


def _exiv2_alternative(value: Mapping[str, str] | None) -> dict[str, str]:
    return {tag.removeprefix('lang="').removesuffix('"').lower(): text for tag, text in (value or {}).items()}


def _exiv2_structure(xmp: Mapping[str, Any], item: str) -> dict[str, Any]:
    fields = {key.rpartition(":")[2]: value for key, value in xmp.items() if key.startswith(f"{item}/")}
    return {name: _exiv2_alternative(value) if name == "Name" else value for name, value in fields.items()}


def names_in(artist: str | None) -> list[str]:
    """Take a list of names apart: "; " between them, a name in quotes (doubled inside) where it holds that itself."""
    pattern = r'"((?:[^"]|"")*)"(?:; |\Z)|((?:(?!; ).)*)(?:; |\Z)'
    found = re.findall(pattern, artist or "", re.DOTALL)
    return [quoted.replace('""', '"') or plain for quoted, plain in found if quoted or plain]


# Rdflib


def packet_in(path: Path) -> list[str]:
    """Return the XMP serialisations in a file, found by Pillow; of a JPEG file those of its segments, put together.

    XMP Specification Part 3 (2020) 1.1.3.1: the extended one is in pieces, each with its offset.
    """
    data = path.read_bytes()
    with Image.open(io.BytesIO(data)) as image:
        if image.format != "JPEG":
            packet = image.info["xmp"] if "xmp" in image.info else image.tag_v2[700]  # type: ignore[attr-defined]
            return [packet.decode("utf-8")]
        segments = [body for name, body in image.applist if name == "APP1"]  # type: ignore[attr-defined]
    main, signature = b"http://ns.adobe.com/xap/1.0/\0", b"http://ns.adobe.com/xmp/extension/\0"
    packets = [body.removeprefix(main).decode("utf-8") for body in segments if body.startswith(main)]
    name = re.search(r"<xmpNote:HasExtendedXMP[^>]*>([0-9A-F]{32})<", packets[0])
    pieces = [body.removeprefix(signature) for body in segments if body.startswith(signature)]
    mine = [piece[32:] for piece in pieces if name and piece.startswith(name[1].encode())]
    whole = b"".join(piece[8:] for piece in sorted(mine, key=lambda piece: piece[4:8]))
    return [*packets, whole.decode("utf-8")] if whole else packets


def rdflib_reading(packets: Iterable[str]) -> Reading:
    """Return what the packets say as RDF, and see to it that arrays are of the kind that the standards ask for."""
    graph, picture = rdflib.Graph(), URIRef("file:///picture")
    for packet in packets:
        rdf = ET.fromstring(packet).find(f"{{{RDF}}}RDF")  # noqa: S314 (our own packet)
        assert rdf is not None
        graph.parse(data=ET.tostring(rdf, encoding="unicode"), format="xml", publicID=str(picture))
    found: Reading = {}
    for one in TEXTS:
        value = graph.value(picture, URIRef(one.uri), any=False)
        found[f"xmp {one.fact}"] = None if value is None else str(value)
    for one in ALTERNATIVES:
        found[f"xmp {one.fact}"] = _rdf_alternative(graph, graph.value(picture, URIRef(one.uri), any=False))
    for one in (*ARRAYS, *STRUCTURES):
        array = graph.value(picture, URIRef(one.uri), any=False)
        items = [] if array is None else _rdf_items(graph, array, KINDS[one.fact])
        found[f"xmp {one.fact}"] = [_rdf_structure(graph, item) or str(item) for item in items]
    contact = graph.value(picture, URIRef(CONTACT.uri), any=False)
    found["xmp contact"] = None if contact is None else _rdf_structure(graph, contact)
    return {place: value for place, value in found.items() if value}


def _rdf_items(graph: rdflib.Graph, array: Node, kind: str) -> list[Node]:
    assert RDF[kind] == graph.value(array, RDF.type)
    numbers = range(1, len(list(graph.predicate_objects(array))))
    return [item for number in numbers for item in graph.objects(array, RDF[f"_{number}"])]


def _rdf_alternative(graph: rdflib.Graph, array: Node | None) -> dict[str, str]:
    if array is None:
        return {}
    items = [item for item in _rdf_items(graph, array, "Alt") if isinstance(item, Literal)]
    assert items[0].language == "x-default"  # XMP Specification Part 1, 8.2.2.4: it comes first
    return {str(item.language).lower(): str(item) for item in items}


def _rdf_structure(graph: rdflib.Graph, node: Node) -> dict[str, Any]:
    fields: dict[str, Any] = {}
    for predicate, value in graph.predicate_objects(node):
        name = re.split("[/#]", str(predicate))[-1]
        if name == "Name":
            fields[name] = _rdf_alternative(graph, value)
        elif name == "Role":
            fields[name] = [str(item) for item in _rdf_items(graph, value, "Bag")]
        else:
            fields[name] = str(value)
    return fields
