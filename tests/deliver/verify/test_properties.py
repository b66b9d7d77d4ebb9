"""XMP in each way that the specification lets it be written."""

from __future__ import annotations

import pytest

from pipeline.deliver.verify.properties import read_properties

HEAD = (
    '<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"'
    ' xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"'
    ' xmlns:plus="http://ns.useplus.org/ldf/xmp/1.0/" xmlns:own="https://strange.example/ns#">'
)
TAIL = "</rdf:RDF></x:xmpmeta>"
LI = '<rdf:li xml:lang="{}">{}</rdf:li>'
DEEP = '<dc:a rdf:parseType="Resource">' * 60 + "</dc:a>" * 60


def read(inside: str) -> object:
    return read_properties((HEAD + inside + TAIL).encode())[0]


LICENSOR = "<plus:LicensorName>L</plus:LicensorName>"
# The forms are those of XMP Specification Part 1 (ISO 16684-1) 7.4 to 7.9.
SIMPLE = (
    ('xmp:Rating="3"', "", {"xmp:Rating": "3"}),
    ("", "<xmp:Rating>3</xmp:Rating>", {"xmp:Rating": "3"}),
    ("", "<xmp:Rating>a<!-- b -->c</xmp:Rating>", {"xmp:Rating": "ac"}),
    ("", '<xmp:BaseURL rdf:resource="https://a.example/"/>', {"xmp:BaseURL": "https://a.example/"}),
    ('own:secret="1"', "", {"https://strange.example/ns# secret": "1"}),
    (
        'xmp:Rating="3" dc:source="S"',
        "<dc:format>F</dc:format>",
        {"xmp:Rating": "3", "dc:source": "S", "dc:format": "F"},
    ),
)
ARRAYS = (
    (
        "",
        "<dc:creator><rdf:Seq><rdf:li>B</rdf:li><rdf:li>A</rdf:li></rdf:Seq></dc:creator>",
        {"dc:creator": ("B", "A")},
    ),
    (
        "",
        "<dc:subject><rdf:Bag><rdf:li>B</rdf:li><rdf:li>A</rdf:li></rdf:Bag></dc:subject>",
        {"dc:subject": ("A", "B")},
    ),
    (
        "",
        f"<dc:title><rdf:Alt>{LI.format('x-default', 'T')}{LI.format('de-AT', 'U')}</rdf:Alt></dc:title>",
        {"dc:title": {"x-default": "T", "de-at": "U"}},
    ),
)
STRUCTURES = tuple(
    ("", f"<plus:Licensor><rdf:Seq>{item}</rdf:Seq></plus:Licensor>", {"plus:Licensor": ({"plus:LicensorName": "L"},)})
    for item in (
        f'<rdf:li rdf:parseType="Resource">{LICENSOR}</rdf:li>',
        '<rdf:li><rdf:Description plus:LicensorName="L"/></rdf:li>',
        f"<rdf:li><rdf:Description>{LICENSOR}</rdf:Description></rdf:li>",
        '<rdf:li plus:LicensorName="L"/>',
    )
)
QUALIFIED = (
    (
        "",
        '<xmp:Label rdf:parseType="Resource"><rdf:value>red</rdf:value><own:q>1</own:q></xmp:Label>',
        {"xmp:Label": "red"},
    ),
)


@pytest.mark.parametrize(("attributes", "inside", "expected"), [*SIMPLE, *ARRAYS, *STRUCTURES, *QUALIFIED])
def test_each_form_gives_the_same_values(attributes: str, inside: str, expected: object) -> None:
    assert expected == read(f'<rdf:Description rdf:about="" {attributes}>{inside}</rdf:Description>')


def test_several_descriptions_are_one() -> None:
    both = '<rdf:Description xmp:Rating="3"/><rdf:Description dc:source="S"/>'
    assert read(both) == {"xmp:Rating": "3", "dc:source": "S"}


def test_what_stands_beside_properties_is_named() -> None:
    packet = f"<!-- hidden --><?own 1?>{HEAD}{TAIL.replace('</x:', '<own2>x</own2></x:')}"
    assert read_properties(packet.encode())[1] == (
        "a comment (XMP)",
        "a processing instruction 'own' (XMP)",
        "an element 'own2' beside its properties (XMP)",
    )


@pytest.mark.parametrize(
    ("packet", "message"),
    [
        (b"<x", "the XMP packet is no sound XML"),
        (b"<!DOCTYPE x><x/>", "the XMP packet declares a document type"),
        (b"<x>" + b" " * (17 << 20) + b"</x>", "the XMP packet has 17825799 bytes"),
        (
            f"{HEAD}<rdf:Description>{DEEP}</rdf:Description>{TAIL}".encode(),
            "the XMP packet is nested too deeply",
        ),
    ],
)  # fmt: skip
def test_packets_that_are_refused(packet: bytes, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        read_properties(packet)


def test_no_file_of_this_machine_is_read(tmp_path_factory: pytest.TempPathFactory) -> None:
    secret = tmp_path_factory.mktemp("x") / "secret"
    secret.write_text("SECRET", encoding="utf-8")
    declared = f'<!DOCTYPE x [<!ENTITY s SYSTEM "{secret.as_uri()}">]>'
    packet = f"{declared}{HEAD}<rdf:Description><dc:source>&s;</dc:source></rdf:Description>{TAIL}"
    with pytest.raises(ValueError, match=r"document type|no sound XML"):
        read_properties(packet.encode())
