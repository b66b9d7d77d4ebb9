"""Image resources and IIM, laid out by hand after their specifications."""

from __future__ import annotations

import hashlib

import pytest

from pipeline.deliver.verify.datasets import read_datasets

HEADLINE = b"\x1c\x02\x69\x00\x04Soup"  # IIM 4.2, 1.5: marker, record 2, dataset 105, length 4
LONG = b"\x1c\x02\x78\x80\x04\x00\x00\x00\x02ab"  # the same with a length of four octets


def resource(number: int, data: bytes, name: bytes = b"") -> bytes:
    """Return one block. Source: XMP Specification Part 3 (2020) 3.1.3."""
    padded = bytes((len(name),)) + name + b"\0" * (1 - len(name) % 2)
    return b"8BIM" + number.to_bytes(2, "big") + padded + len(data).to_bytes(4, "big") + data + b"\0" * (len(data) % 2)


def digest(data: bytes) -> bytes:
    return resource(1061, hashlib.md5(data, usedforsecurity=False).digest())


def test_datasets_and_their_digest() -> None:
    block = HEADLINE + LONG + HEADLINE
    sets = read_datasets(resource(1028, block) + digest(block), None)
    assert (dict(sets.values), sets.digest, sets.others) == ({"2:105": ("Soup", "Soup"), "2:120": ("ab",)}, "true", ())


@pytest.mark.parametrize(
    ("resources", "own", "state"),
    [
        (resource(1028, HEADLINE) + digest(LONG), None, "false"),
        (resource(1028, HEADLINE), None, "absent"),
        (digest(HEADLINE), HEADLINE, "true"),
        (None, HEADLINE, "absent"),
        (None, None, "absent"),
    ],
)
def test_the_digest_is_judged(resources: bytes | None, own: bytes | None, state: str) -> None:
    assert state == read_datasets(resources, own).digest


def test_what_else_is_there_is_named() -> None:
    sets = read_datasets(resource(1036, b"jpeg", b"odd") + resource(1028, HEADLINE + b"xx"), HEADLINE)
    assert sets.others == ("image resource 1036", "IIM in two places")
    assert read_datasets(resource(1028, HEADLINE + b"xx"), None).others == ("2 bytes behind the datasets (IIM)",)
    assert read_datasets(digest(HEADLINE), None).others == ("a digest without IIM",)


@pytest.mark.parametrize("cut", range(1, len(HEADLINE)))
def test_datasets_cut_short_are_refused(cut: int) -> None:
    with pytest.raises(ValueError, match="the IIM block is cut short at byte"):
        read_datasets(None, HEADLINE[:cut])


@pytest.mark.parametrize(
    ("block", "message"),
    [
        (b"\x1c\x02\x69\x80\x09" + bytes(9), "the IIM block has a dataset without a length"),
        (b"\x1c\x02\x05\0\0" * 20_001, "the IIM block has no end"),
    ],
)
def test_hostile_datasets_are_refused(block: bytes, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        read_datasets(None, block)
    with pytest.raises(ValueError, match="the image resources have no end"):
        read_datasets(resource(1000, b"") * 2001, None)
