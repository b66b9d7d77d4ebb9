"""Exiftool (with its MWG rules), libexiv2 and rdflib find the same facts in every container, and those of the job."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from datetime import date, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from pipeline.light.box import Size
from pipeline.plan.facts import Contact, Contributor, PictureFacts, Translation
from pipeline.render.containers.embed import embed
from pipeline.render.xmp import xmp_packet
from tests.render.containers.pictures import embedded, encoded, format_of
from tests.render.every_fact import FACTS, POLICIES
from tests.render.readers import (
    WITH_IIM,
    Reading,
    exiftool_reading,
    exiv2_reading,
    expected,
    mwg_reading,
    packet_in,
    rdflib_reading,
    read_by_exiftool,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pipeline.plan.facts import Policy

SMALL = Size(20, 17)
CONTAINERS = {"jpeg": "jpg", "png": "png", "webp": "webp", "tiff-deflate": "tif", "avif": "avif"}

BARE = PictureFacts(language="en")


def files(folder: Path, facts: PictureFacts, policy: Policy) -> list[Path]:
    """Write one small file of each container with these facts."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, ending in CONTAINERS.items():
        path = folder / f"picture.{ending}"
        path.write_bytes(embed(encoded(name, SMALL), format_of(name), embedded(facts, policy, size=SMALL)))
        paths.append(path)
    return paths


def only(place: str, reading: Reading) -> Reading:
    return {name: value for name, value in reading.items() if name.startswith(place)}


def all_agree(folder: Path, cases: Iterable[tuple[PictureFacts, Policy]]) -> None:
    """Write each case into every container and let each reader read it; exiftool is started once for all of them."""
    wanted = [(facts, policy, files(folder / str(at), facts, policy)) for at, (facts, policy) in enumerate(cases)]
    tags = iter(read_by_exiftool([path for _, _, paths in wanted for path in paths], "-use", "MWG"))
    for facts, policy, paths in wanted:
        for (name, _), path in zip(CONTAINERS.items(), paths, strict=True):
            right = expected(facts, policy, format_of(name))
            found = next(tags)
            assert right == exiftool_reading(found), name
            assert right == exiv2_reading(path), name
            assert only("xmp", right) == rdflib_reading(packet_in(path)), name
            assert reconciled(right) == mwg_reading(found), name
            if format_of(name) in WITH_IIM:
                assert found["File:CurrentIPTCDigest"] == found["Photoshop:IPTCDigest"]
            else:
                assert not [tag for tag in found if tag.startswith(("IPTC:", "Photoshop:"))]


def reconciled(right: Reading) -> Reading:
    """MWG 2.0: what its rules make of Exif, IIM and XMP together is the whole fact, whatever IIM had to cut."""
    alternatives = {
        name: right[f"xmp {name}"]["x-default"] for name in ("description", "copyright") if f"xmp {name}" in right
    }
    return alternatives | {name: right[f"xmp {name}"] for name in ("keywords", "creators") if f"xmp {name}" in right}


@pytest.mark.parametrize("policy", POLICIES)
def test_every_fact_in_every_container(policy: Policy, tmp_path: Path) -> None:
    all_agree(tmp_path, [(FACTS, policy)])


def test_silence_and_decoration(tmp_path: Path) -> None:
    all_agree(tmp_path, [(BARE, "full"), (replace(FACTS, decorative=True), "full")])


# Char of XML 1.0 (fifth edition), production 2, without the carriage return, which is refused, and without U+007F, in
# whose place libexiv2 shows a blank (see below).
CHARACTERS = st.characters(exclude_categories=["Cs"], exclude_characters="\ufffe\uffff\x7f").filter(
    lambda character: character in "\t\n" or character >= " "
)
# In its JSON exiftool writes the words "true" and "false" as no words, and a number with a line feed as a number.
NO_WORDS = re.compile(r"(true|false)\n?|-?\d[\d.e+-]*\n", re.IGNORECASE)
WORDS = st.text(CHARACTERS, min_size=1, max_size=90).filter(lambda text: not NO_WORDS.fullmatch(text))
# Of a copyright in Exif exiftool drops the blanks at the end (DC-008 4.6.4: a blank stands for a missing photographer).
NOTICES = WORDS.filter(lambda text: not text.endswith(" "))
TAGS = ("en", "de-AT", "fr", "zh-Hant", "ar")
DAYS = st.dates(min_value=date(1000, 1, 1)).map(str)
# Quarters of an hour, as zones have them; west of Greenwich by less than an hour there is none, and libexiv2 drops
# the minus of such a one in IIM.
ZONES = st.none() | st.integers(-48, 56).filter(lambda quarters: quarters not in {-3, -2, -1}).map(
    lambda quarters: timezone(timedelta(minutes=15 * quarters))
)
MOMENTS = st.builds(
    lambda moment, zone: moment.replace(tzinfo=zone).isoformat(),
    st.datetimes(min_value=datetime(1000, 1, 1)),  # noqa: DTZ001 (its zone is drawn apart)
    ZONES,
)
TEXT_FACTS = (
    "title", "headline", "description", "alt", "long_alt", "creator_title", "credit_line", "owner", "licence_url",
    "licensor", "acquire_url", "usage_terms", "source", "job_id", "instructions", "caption_writer",
)  # fmt: skip


def maybe(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


@st.composite
def any_facts(draw: st.DrawFn) -> PictureFacts:
    """Draw facts of any words. What is said in other languages is also said in the shoot's own, as the plan does it."""
    language, *others = draw(st.permutations(TAGS))
    texts = {name: draw(maybe(WORDS)) for name in TEXT_FACTS}

    def translation(tag: str) -> Translation:
        names = ("title", "description", "alt", "long_alt")
        return Translation(tag, **{name: draw(maybe(WORDS)) if texts[name] else None for name in names})

    return PictureFacts(
        language=language,
        translations=tuple(translation(tag) for tag in others[: draw(st.integers(0, 3))]),
        contact=draw(maybe(st.builds(Contact, *[maybe(WORDS)] * 8))),
        creators=tuple(draw(st.lists(WORDS, max_size=3))),
        keywords=tuple(draw(st.lists(WORDS, max_size=4))),
        contributors=tuple(draw(st.lists(st.builds(Contributor, WORDS, WORDS), max_size=2))),
        copyright=draw(maybe(NOTICES)),
        date_created=draw(maybe(DAYS | MOMENTS)),
        not_before=draw(maybe(DAYS | MOMENTS)),
        licence_ends=draw(maybe(DAYS | MOMENTS)),
        rating=draw(maybe(st.integers(-1, 5))),
        digital_source=draw(st.sampled_from([None, "digitalCapture", "compositeSynthetic"])),
        **texts,
    )


RUNS = itertools.count()


@settings(max_examples=max(settings().max_examples // 6, 1))
@given(st.lists(st.tuples(any_facts(), st.sampled_from(POLICIES)), min_size=1, max_size=10))
def test_any_words_that_xml_can_hold(tmp_path_factory: pytest.TempPathFactory, cases: list[Any]) -> None:
    all_agree(tmp_path_factory.getbasetemp() / f"drawn-{next(RUNS)}", cases)


def test_delete_is_a_character_too(tmp_path: Path) -> None:
    """U+007F is one of XML 1.0; libexiv2, whose XMP reader takes it for a mistake, shows a blank."""
    facts = replace(BARE, headline="a\x7fb")
    paths = files(tmp_path, facts, "full")
    for path, tags in zip(paths, read_by_exiftool(paths), strict=True):
        assert exiftool_reading(tags)["xmp headline"] == "a\x7fb"
        assert rdflib_reading(packet_in(path))["xmp headline"] == "a\x7fb"
        assert exiv2_reading(path)["xmp headline"] == "a b"


def of_packet_size(octets: int) -> PictureFacts:
    """Return facts whose packet has exactly so many octets: a description stands in it twice, a headline once."""
    short = replace(BARE, headline="x", description="x")
    missing = octets - len(xmp_packet(short, "full"))
    return replace(short, headline="x" * (1 + missing % 2), description="x" * (1 + missing // 2))


def test_all_three_readers_agree_up_to_one_segment(tmp_path: Path) -> None:
    """XMP Specification Part 3 (2020), 1.1.3, Table 6: a packet of at most 65502 bytes."""
    facts = of_packet_size(65502)
    assert len(xmp_packet(facts, "full")) == 65502
    all_agree(tmp_path, [(facts, "full")])


LONG = st.builds(
    lambda character, octets: character * (octets // len(character.encode())),
    st.sampled_from("xéक🍅"),
    st.integers(30_000, 200_000),
)


@settings(max_examples=max(settings().max_examples // 20, 1))
@given(description=LONG, long_alt=LONG, keywords=st.integers(1, 1200), copyright=st.none() | LONG)
@example(description="x" * 10, long_alt="é" * 40_000, keywords=1100, copyright=None)
@example(description="x" * 64_500, long_alt="x", keywords=1, copyright="x" * 1500)
def test_readers_that_assemble_long_xmp_agree(
    tmp_path_factory: pytest.TempPathFactory,
    description: str,
    long_alt: str,
    keywords: int,
    copyright: str | None,  # noqa: A002
) -> None:
    """A JPEG segment holds 64 kB: XMP goes on in others, IIM too, and of Exif the longest words are left out."""
    octets = [len(text.encode()) for text in (description, copyright or "")]
    assume(all(not 64_500 < size < 65_500 for size in (*octets, sum(octets))))  # where the other tags would decide
    words = tuple(f"keyword {number} {'ü' * 24}" for number in range(keywords))
    facts = replace(
        FACTS, description=description, long_alt=long_alt, keywords=words, copyright=copyright, translations=()
    )
    paths = files(tmp_path_factory.getbasetemp() / f"drawn-{next(RUNS)}", facts, "full")
    for name, path, tags in zip(CONTAINERS, paths, read_by_exiftool(paths, "-use", "MWG"), strict=True):
        right = expected(facts, "full", format_of(name))
        lone = right if name != "jpeg" else without_words_too_long_for_exif(right)
        assert lone == exiftool_reading(tags), name
        assert only("xmp", right) == rdflib_reading(packet_in(path)), name
        assert reconciled(right) == mwg_reading(tags), name
        assert tags.get("File:CurrentIPTCDigest") == tags.get("Photoshop:IPTCDigest")
        by_exiv2 = exiv2_reading(path)
        if name == "jpeg":  # it reads the main packet only
            assert only("xmp", by_exiv2).items() <= only("xmp", right).items()
            assert only("xmp", by_exiv2) != only("xmp", right)
            assert only("iim", lone) | only("exif", lone) == only("iim", by_exiv2) | only("exif", by_exiv2)
        else:
            assert right == by_exiv2, name


def without_words_too_long_for_exif(right: Reading) -> Reading:
    """Leave the longest out of description and copyright until 65527 octets hold the rest."""
    kept = dict(right)
    words = [name for name in ("exif description", "exif copyright") if name in kept]
    while words and sum(len(kept[name].encode()) for name in words) > 65_000:
        longest = max(words, key=lambda name: len(kept[name].encode()))
        words.remove(longest)
        del kept[longest]
    return kept
