from __future__ import annotations

import hashlib
import xml.etree.ElementTree as ET  # a parser apart from the one under test
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.plan.facts import PictureFacts
from pipeline.render.containers.long_xmp import chunks, divided
from pipeline.render.xmp import xmp_packet

RDF = "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
NOTE = "{http://ns.adobe.com/xmp/note/}HasExtendedXMP"
LIMIT = 65502  # XMP Specification Part 3 (2020), 1.1.3, Table 6


def packet(**texts: int) -> bytes:
    """Return a packet of facts, each as many octets long as said; "credit_line" and such stand in it once."""
    words: dict[str, Any] = {name: "x" * octets for name, octets in texts.items()}
    return xmp_packet(PictureFacts(language="en", **words), "full")


def properties(serialisation: bytes) -> dict[str, str]:
    """Return name and serialised form of each property."""
    found = ET.fromstring(serialisation).find(f"{{{RDF}}}RDF/{{{RDF}}}Description")  # noqa: S314 (our own)
    assert found is not None
    return {one.tag: ET.tostring(one, encoding="unicode") for one in found}


def test_what_fits_stays_as_it_is() -> None:
    short = packet(credit_line=10)
    longest = short + b" " * (LIMIT - len(short))
    assert divided(longest) == (longest, b"")


def test_a_packet_that_is_only_padded_loses_its_padding() -> None:
    short = packet(credit_line=10)
    main, extended = divided(short + b" " * LIMIT)
    assert main.startswith(b'<?xpacket begin="')
    assert (len(main) <= LIMIT, list(properties(extended))) == (True, [])


def test_the_longest_moves_and_no_more_than_must() -> None:
    whole = packet(credit_line=40_000, source=30_000, instructions=20_000, headline=100)
    main, extended = divided(whole)
    assert len(main) <= LIMIT
    moved = properties(extended)
    assert [name.rpartition("}")[2] for name in moved] == ["Credit"]
    assert properties(whole) == {name: text for name, text in (properties(main) | moved).items() if name != NOTE}


def test_of_two_as_long_the_earlier_one_moves() -> None:
    _, extended = divided(packet(source=40_000, credit_line=40_000 - len("Credit") * 2 + len("Source") * 2))
    assert [name.rpartition("}")[2] for name in properties(extended)] == ["Credit"]


@given(
    st.dictionaries(
        st.sampled_from(["credit_line", "source", "instructions", "headline", "job_id", "caption_writer", "title"]),
        st.integers(1, 90_000),
        max_size=7,
    )
)
def test_nothing_is_lost_and_all_is_whole(lengths: dict[str, int]) -> None:
    whole = packet(**lengths)
    main, extended = divided(whole)
    assert (main, extended) == divided(whole)
    assert len(main) <= LIMIT
    assert (len(whole) <= LIMIT) == (extended == b"")
    if extended:
        here, there = properties(main), properties(extended)
        note = here.pop(NOTE)
        assert hashlib.md5(extended, usedforsecurity=False).hexdigest().upper() in note
        assert not here.keys() & there.keys()
        assert properties(whole) == here | there
        assert all(len(moved) >= len(kept) for moved in there.values() for kept in here.values())
        assert main.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'.encode())
        assert main.endswith(b'<?xpacket end="w"?>')
        assert b"xpacket" not in extended  # 1.1.3.1: it has no wrapper


@given(st.binary(max_size=200_000))
def test_chunks_join_to_the_whole(extended: bytes) -> None:
    """XMP Specification Part 3 (2020), 1.1.3.1: 32 characters of name, length and offset of four bytes each, data."""
    parts = list(chunks(extended))
    assert b"".join(part[40:] for part in parts) == extended
    assert all(len(part) <= 40 + 65458 for part in parts)
    for at, part in enumerate(parts):
        assert part[:32].decode() == hashlib.md5(extended, usedforsecurity=False).hexdigest().upper()
        assert (int.from_bytes(part[32:36], "big"), int.from_bytes(part[36:40], "big")) == (len(extended), at * 65458)


def test_what_is_no_packet_of_one_description_is_refused() -> None:
    with pytest.raises(ValueError, match="65503 bytes and cannot be divided: it is not XML"):
        divided(b"x" * 65503)
    none = f'<x><r:RDF xmlns:r="{RDF}"/><y>{"x" * 66_000}</y></x>'.encode()
    with pytest.raises(ValueError, match="has no one description"):
        divided(none)
    rest = f'<x><r:RDF xmlns:r="{RDF}"><r:Description/></r:RDF><y>{"x" * 66_000}</y></x>'.encode()
    with pytest.raises(ValueError, match=r"cannot be divided: 66\d\d\d bytes are left without any property"):
        divided(rest)
