"""Forms that XMP allows a property to take, and packets that were made to do harm."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.words import Words
from pipeline.frames.xmp_words import belongs_to, extended_name, parse, xmp_words
from tests.exiftool import tags_of

if TYPE_CHECKING:
    from pathlib import Path

SPACES = (
    'xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#" xmlns:dc="http://purl.org/dc/elements/1.1/" '
    'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:xmpRights="http://ns.adobe.com/xap/1.0/rights/" '
    'xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/" xmlns:plus="http://ns.useplus.org/ldf/xmp/1.0/" '
    'xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/" xmlns:xmpNote="http://ns.adobe.com/xmp/note/"'
)


def packet(inside: str, attributes: str = "") -> bytes:
    about = f'<rdf:Description rdf:about="" {attributes}>{inside}</rdf:Description>'
    meta = f'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF {SPACES}>{about}</rdf:RDF></x:xmpmeta>'
    begin = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
    return f'{begin}{meta}{" " * 2000}<?xpacket end="w"?>'.encode()


def read(inside: str, attributes: str = "") -> Words:
    words = xmp_words(packet(inside, attributes))
    assert words is not None
    return words


def alternative(name: str, *items: tuple[str, str]) -> str:
    listed = "".join(f'<rdf:li xml:lang="{tag}">{text}</rdf:li>' for tag, text in items)
    return f"<{name}><rdf:Alt>{listed}</rdf:Alt></{name}>"


RESOURCE = '<xmpRights:WebStatement rdf:resource="https://a.example/l"/>'
QUALIFIED = (
    '<xmpRights:WebStatement rdf:parseType="Resource"><rdf:value>https://a.example/l</rdf:value>'
    "<dc:format>x</dc:format></xmpRights:WebStatement>"
)
QUALIFIED_LONG = (
    "<xmpRights:WebStatement><rdf:Description><rdf:value>https://a.example/l</rdf:value></rdf:Description>"
    "</xmpRights:WebStatement>"
)


@pytest.mark.parametrize(
    ("inside", "attributes"),
    [
        ("<xmpRights:WebStatement>https://a.example/l</xmpRights:WebStatement>", ""),
        ("", 'xmpRights:WebStatement="https://a.example/l"'),
        (RESOURCE, ""),
        (QUALIFIED, ""),
        (QUALIFIED_LONG, ""),
    ],
)
def test_a_simple_value_in_every_form(tmp_path: Path, inside: str, attributes: str) -> None:
    """Source: ISO 16684-1 7.4, 7.5, 7.8, 7.9.2.2 and 7.9.2.4."""
    assert read(inside, attributes).licence_url == "https://a.example/l"
    path = tmp_path / "a.xmp"
    path.write_bytes(packet(inside, attributes))
    assert tags_of(path, "-XMP:WebStatement")["XMP-xmpRights:WebStatement"] == "https://a.example/l"


def test_the_default_language_and_the_others() -> None:
    words = read(alternative("dc:title", ("fr", "Bol"), ("x-default", "Bowl"), ("en-GB", "Bowl")))
    assert (words.title, words.in_languages) == ("Bowl", (("title", "fr", "Bol"), ("title", "en-GB", "Bowl")))


def test_without_a_default_the_first_is_it() -> None:
    assert read(alternative("dc:description", ("fr", "Bol"), ("en", "Bowl"))).description == "Bol"


def test_a_headline_is_read_as_text_and_as_an_alternative() -> None:
    """TechReference 2021.1 of the IPTC calls it an alternative, its namespace a text."""
    assert read("<photoshop:Headline>Supper</photoshop:Headline>").headline == "Supper"
    assert read(alternative("photoshop:Headline", ("x-default", "Supper"))).headline == "Supper"


def test_several_descriptions_are_one_and_the_first_of_a_property_counts() -> None:
    two = "<xmp:Rating>2</xmp:Rating></rdf:Description><rdf:Description><xmp:Rating>5</xmp:Rating>"
    assert read(two + alternative("dc:title", ("x-default", "Bowl"))) == Words(title="Bowl", rating=2)


def test_the_address_of_a_licensor_and_nothing_else_of_it() -> None:
    licensor = (
        "<plus:Licensor><rdf:Seq><rdf:li rdf:parseType='Resource'><plus:LicensorName>N</plus:LicensorName>"
        "<plus:LicensorURL>https://a.example/buy</plus:LicensorURL></rdf:li></rdf:Seq></plus:Licensor>"
    )
    assert read(licensor) == Words(acquire_url="https://a.example/buy")
    short = "<plus:Licensor><rdf:Seq><rdf:li plus:LicensorURL='https://a.example/buy'/></rdf:Seq></plus:Licensor>"
    assert read(short) == Words(acquire_url="https://a.example/buy")


@pytest.mark.parametrize(
    "words",
    [
        '<xmpRights:WebStatement>javascript:alert("x")</xmpRights:WebStatement>',
        "<xmpRights:WebStatement>https://a.example/&lt;script></xmpRights:WebStatement>",
        "<Iptc4xmpExt:DigitalSourceType>http://cv.iptc.org/newscodes/digitalsourcetype/invented</Iptc4xmpExt:DigitalSourceType>",
        "<Iptc4xmpExt:DigitalSourceType>http://other.example/digitalCapture</Iptc4xmpExt:DigitalSourceType>",
        "<photoshop:DateCreated>2026-13-45</photoshop:DateCreated>",
        "<photoshop:DateCreated>2026</photoshop:DateCreated>",
        "<xmp:Rating>6</xmp:Rating>",
        "<xmp:Rating>NaN</xmp:Rating>",
        "<xmp:Rating>0</xmp:Rating>",
        "<dc:subject><rdf:Bag><rdf:li>  </rdf:li></rdf:Bag></dc:subject>",
    ],
)
def test_values_that_are_none(words: str) -> None:
    assert Words() == read(words)


@pytest.mark.parametrize(("text", "rating"), [("4", 4), ("4.0", 4), ("-1", -1), ("3.5", 3), ("5", 5)])
def test_ratings(text: str, rating: int) -> None:
    assert read(f"<xmp:Rating>{text}</xmp:Rating>").rating == rating


# Harm

LAUGHS = "".join(f'<!ENTITY l{n + 1} "{f"&l{n};" * 10}">' for n in range(9))
DOCUMENT = (
    '{xml}<!DOCTYPE r [<!ENTITY l0 "lol">' + LAUGHS + '<!ENTITY file SYSTEM "file:///etc/hostname">]>'
    f"<rdf:RDF {SPACES}><rdf:Description>"
    "<photoshop:Source>a{entity}b</photoshop:Source></rdf:Description></rdf:RDF>"
)


@pytest.mark.parametrize("entity", ["&l9;", "&file;"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "utf-7"])
def test_a_document_type_is_refused_in_every_encoding(entity: str, encoding: str) -> None:
    xml = f'<?xml version="1.0" encoding="{encoding}"?>'
    text = DOCUMENT.replace("{xml}", xml).replace("{entity}", entity)
    assert xmp_words(text.encode(encoding)) is None


def test_a_declared_encoding_is_not_believed() -> None:
    xml = '<?xml version="1.0" encoding="iso-8859-1"?>'
    text = f"{xml}<rdf:RDF {SPACES}><rdf:Description photoshop:Source='Crème'/></rdf:RDF>"
    words = xmp_words(text.encode())
    assert words == Words(source="Crème")


def test_utf_16_with_its_mark_is_read() -> None:
    words = xmp_words(packet("<photoshop:Source>Crème</photoshop:Source>").decode().encode("utf-16"))
    assert words == Words(source="Crème")


def test_elements_nested_without_end_are_refused() -> None:
    assert xmp_words(packet("<dc:a>" * 5000 + "</dc:a>" * 5000)) is None


@pytest.mark.parametrize("data", [b"", b"\0" * 50, b"<a/>", b"<a", b"\xff\xfe", b"\xff\xfe<\0", b"text"])
def test_what_is_no_packet(data: bytes) -> None:
    assert xmp_words(data) is None
    assert (belongs_to(data), extended_name(data)) == (None, None)


def test_very_many_values_are_capped() -> None:
    items = "".join(f"<rdf:li>{number}</rdf:li>" for number in range(5000))
    assert len(read(f"<dc:subject><rdf:Bag>{items}</rdf:Bag></dc:subject>").keywords) == 1000


FRAGMENTS = st.sampled_from(
    [
        "<rdf:li>", "</rdf:li>", "<rdf:Alt>", "</rdf:Alt>", "<dc:title>", "</dc:title>", "&amp;", "&#0;", "&x;", "<!--",
        "-->",
        "<![CDATA[", "]]>", "<?p x?>", "rdf:value='1'", "<rdf:Description rdf:value='v'/>", "text", "<dc:subject/>",
        "<dc:creator rdf:resource=''/>",
    ]
)  # fmt: skip


@given(st.lists(FRAGMENTS | st.text(max_size=8), max_size=12).map("".join))
def test_no_packet_raises(inside: str) -> None:
    data = packet(inside.encode("utf-8", "replace").decode())
    words = xmp_words(data)
    assert (words is None) == (parse(data) is None)


@given(st.binary(max_size=200))
def test_no_bytes_raise(data: bytes) -> None:
    whole = packet("<dc:title>Bowl</dc:title>")
    for damaged in (data, whole[: len(data)] + data, whole + data, whole.replace(b"Bowl", data)):
        assert xmp_words(damaged) is None or isinstance(xmp_words(damaged), Words)
