from __future__ import annotations

import io
import unicodedata
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, IptcImagePlugin

from pipeline.plan.facts import PictureFacts
from pipeline.render.containers.embed import embed
from pipeline.render.iim import iim_block, iim_cuts
from tests.render.containers.pictures import embedded, encoded
from tests.render.every_fact import FACTS, POLICIES
from tests.render.readers import DATASETS, NOT_STATED, shortened

if TYPE_CHECKING:
    from pipeline.plan.facts import Policy

BARE = PictureFacts(language="en")
WORDS = [dataset for dataset in DATASETS if dataset.octets not in {8, 11}]


def datasets(block: bytes) -> list[tuple[int, int, bytes]]:
    """Return record, number and value of each dataset (IIM 4.2, 1.5: marker, record, number, two octets of length)."""
    found = []
    while block:
        assert block[0] == 0x1C
        length = int.from_bytes(block[3:5], "big")
        found.append((block[1], block[2], block[5 : 5 + length]))
        assert len(found[-1][2]) == length
        block = block[5 + length :]
    return found


def values(block: bytes, number: int) -> list[bytes]:
    return [value for record, dataset, value in datasets(block) if (record, dataset) == (2, number)]


def test_silence_leaves_the_versions_and_the_marker() -> None:
    """IIM 4.2: 1:00 and 2:00 are 4; 1:90 is ESC % G for UTF-8 (ISO/IEC 2022 registration 196)."""
    assert datasets(iim_block(BARE, "full")) == [(1, 0, b"\0\x04"), (1, 90, b"\x1b%G"), (2, 0, b"\0\x04")]


def test_every_dataset_of_the_standard() -> None:
    assert datasets(iim_block(FACTS, "full"))[2:] == [
        (2, 0, b"\0\x04"),
        (2, 5, "Crème de tomate 🍅".encode()),
        *((2, 25, keyword.encode()[:64]) for keyword in ("soup", "crème", "שוק", "a, b", "k" * 70)),
        (2, 30, b"20261001"),
        (2, 35, b"090000+0200"),
        (2, 37, b"20270930"),
        (2, 38, b"235959-0500"),
        (2, 40, b"Not before the fair"),
        (2, 55, b"20260912"),
        (2, 60, b"102431+0200"),
        *((2, 80, name.encode()) for name in ("Ana Exämple", "Bo; 李", '"Cy" Dee')),
        (2, 85, "Photographer, côté cuisine".encode()),
        (2, 103, "2026-37/é".encode()),
        (2, 105, "One pot, <three> “beans”".encode()),
        (2, 110, "Ana Exämple / Küche & more tha".encode()),
        (2, 115, "Küche".encode()),
        (2, 116, "© 2026 Ana Exämple".encode()),
        (2, 120, str(FACTS.description).encode()),
        (2, 122, "B. Ö.".encode()),
    ]


@pytest.mark.parametrize("policy", POLICIES)
def test_policies_leave_out_what_they_say(policy: Policy) -> None:
    there = {number for record, number, _ in datasets(iim_block(FACTS, policy)) if record == 2}
    wanted = {dataset.number for dataset in DATASETS if dataset.fact not in NOT_STATED[policy]}
    assert wanted | {0} == there


def test_pillow_reads_the_block() -> None:
    """Its reader of IIM is apart from those that read it elsewhere in these tests."""
    with Image.open(
        io.BytesIO(embed(encoded("jpeg"), "jpeg", replace(embedded(), iim=iim_block(FACTS, "full"))))
    ) as image:
        found = IptcImagePlugin.getiptcinfo(image)
    assert found is not None
    assert found[2, 5] == "Crème de tomate 🍅".encode()
    assert found[2, 80] == [name.encode() for name in FACTS.creators]
    assert found[2, 60] == b"102431+0200"


@pytest.mark.parametrize("dataset", WORDS, ids=[f"2:{dataset.number}" for dataset in WORDS])
@pytest.mark.parametrize("letter", ["x", "ü", "ก", "🍅"])
def test_words_of_any_length_are_cut_behind_a_whole_character(dataset: Any, letter: str) -> None:  # noqa: ANN401
    """Lengths count octets: 32 of them are 16 letters "ü"."""
    several = dataset.fact in {"keywords", "creators"}
    whole, over = letter * (dataset.octets // len(letter.encode())), letter * dataset.octets + letter
    for text in (whole, over):
        changed: dict[str, Any] = {dataset.fact: ("a", text) if several else text}
        facts = replace(BARE, **changed)
        (*_, written) = values(iim_block(facts, "full"), dataset.number)
        assert whole.encode() == written
        assert iim_cuts(facts) == ((dataset.fact,) if text == over else ())


def test_several_cuts_are_named_once_in_the_order_of_the_datasets() -> None:
    facts = replace(BARE, copyright="x" * 129, keywords=("x" * 65, "y" * 65), title="x" * 65, source="x" * 32)
    assert iim_cuts(facts) == ("title", "keywords", "copyright")
    assert iim_cuts(BARE) == ()


TEXT = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\r\ufffe\uffff").filter(
        lambda character: character in "\t\n" or character >= " "
    )
)


@given(TEXT, TEXT)
def test_any_words_come_back_as_far_as_they_fit(title: str, keyword: str) -> None:
    facts = replace(BARE, title=title, keywords=(keyword, "b"))
    block = iim_block(facts, "full")
    assert values(block, 5) == ([shortened(title, 64).encode()] if title else [])
    assert values(block, 25) == [shortened(one, 64).encode() for one in (keyword, "b") if one]
    assert ("title" in iim_cuts(facts)) == (shortened(title, 64) != title)


def test_the_words_are_not_normalised() -> None:
    decomposed = unicodedata.normalize("NFD", "Crème")
    assert values(iim_block(replace(BARE, title=decomposed), "full"), 5) == [decomposed.encode()]


@pytest.mark.parametrize(
    ("date", "day", "time"),
    [
        ("2026-09-12T10:24:31+02:00", [b"20260912"], [b"102431+0200"]),
        ("2026-09-12T10:24:31.75-03:30", [b"20260912"], [b"102431-0330"]),
        ("2026-09-12T10:24:31Z", [b"20260912"], [b"102431+0000"]),
        ("2026-09-12T10:24:31", [b"20260912"], []),
        ("2026-09-12", [b"20260912"], []),
        (None, [], []),
    ],
)
def test_a_time_needs_its_offset(date: str | None, day: list[bytes], time: list[bytes]) -> None:
    """IIM 4.2: 2:30, 2:37 and 2:55 are CCYYMMDD, 2:35, 2:38 and 2:60 HHMMSS and the offset from UTC, never missing."""
    facts = replace(BARE, date_created=date, not_before=date, licence_ends=date)
    block = iim_block(facts, "full")
    for of_day, of_time in ((30, 35), (37, 38), (55, 60)):
        assert (day, time) == (values(block, of_day), values(block, of_time))


@pytest.mark.parametrize("field", ["date_created", "not_before", "licence_ends"])
def test_what_is_no_date_is_refused(field: str) -> None:
    changed: dict[str, Any] = {field: "next spring"}
    with pytest.raises(ValueError, match="'next spring' is not ISO 8601"):
        iim_block(replace(BARE, **changed), "full")


def test_equal_facts_give_equal_bytes() -> None:
    assert iim_block(FACTS, "proof") == iim_block(replace(FACTS), "proof")
