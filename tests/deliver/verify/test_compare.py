"""What the writers put into every container is what the standards say must stand there, for facts of any words."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from pipeline.deliver.verify.compare import compare
from pipeline.deliver.verify.delivered import Camera, Delivered
from pipeline.deliver.verify.readers import read_back
from pipeline.light.box import Size
from pipeline.plan.facts import Contact, Contributor, PictureFacts, Translation
from pipeline.render.containers.embed import embed
from tests.render.containers.pictures import CAMERA, embedded, encoded, format_of

SMALL = Size(20, 17)
CONTAINERS = ("jpeg", "png", "webp", "tiff-lzw", "avif")
# Char of XML 1.0 (fifth edition), production 2, without the carriage return, which no file states.
WORDS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufffe\uffff") | st.sampled_from("\t\n"),
    min_size=1,
    max_size=80,
)
MAYBE = st.none() | WORDS
TEXTS = (
    "title", "headline", "description", "alt", "long_alt", "creator_title", "credit_line", "copyright", "owner",
    "licence_url", "licensor", "acquire_url", "usage_terms", "source", "job_id", "instructions", "caption_writer",
)  # fmt: skip
DAYS = st.dates().map(str)
MOMENTS = st.builds(
    lambda moment, quarters: moment.replace(
        tzinfo=None if quarters is None else timezone(timedelta(minutes=15 * quarters))
    ).isoformat(),
    st.datetimes(min_value=datetime(1000, 1, 1)),  # noqa: DTZ001 (its zone is drawn apart)
    st.none() | st.integers(-48, 56),
)
ANY_FACTS = st.builds(
    PictureFacts,
    language=st.sampled_from(["en", "de-AT", "zh-Hant"]),
    creators=st.lists(WORDS | st.sampled_from(['"A" B', "C; D"]), max_size=3).map(tuple),
    keywords=st.lists(WORDS, max_size=4).map(tuple),
    contributors=st.lists(st.builds(Contributor, WORDS, WORDS), max_size=2).map(tuple),
    contact=st.none() | st.builds(Contact, *[MAYBE] * 8),
    date_created=st.none() | DAYS | MOMENTS,
    not_before=st.none() | DAYS | MOMENTS,
    licence_ends=st.none() | DAYS | MOMENTS,
    digital_source=st.sampled_from([None, "digitalCapture", "print"]),
    rating=st.none() | st.integers(-1, 5),
    translations=st.lists(
        st.builds(Translation, st.sampled_from(["fr", "ar"]), MAYBE, MAYBE, MAYBE, MAYBE),
        max_size=2,
        unique_by=lambda words: words.language,
    ).map(tuple),
    **dict.fromkeys(TEXTS, MAYBE),
)


def delivered(name: str, facts: PictureFacts, ppi: float = 300) -> tuple[Delivered, bytes]:
    """Return a small file of a format with these facts, and what a manifest would say of it."""
    data = embed(encoded(name, SMALL), format_of(name), embedded(facts, "full", ppi, SMALL))
    read = read_back(data)
    camera = Camera(
        CAMERA.make, CAMERA.model, CAMERA.lens, CAMERA.exposure_s, CAMERA.f_number, CAMERA.iso, CAMERA.focal_mm
    )
    profile = hashlib.sha256(read.icc_profile or b"").hexdigest()
    sha256 = hashlib.sha256(data).hexdigest()
    file = Delivered(
        "a", sha256, read.picture_sha256, SMALL, format_of(name), ppi, srgb=False, icc_profile_sha256=profile,
        facts=facts, camera=camera,
    )  # fmt: skip
    return file, data


def differences(file: Delivered, data: bytes) -> list[str]:
    return [str(finding) for finding in compare(file, "a", hashlib.sha256(data).hexdigest(), read_back(data)).findings]


@pytest.mark.parametrize("name", CONTAINERS)
@given(facts=ANY_FACTS)
@settings(max_examples=25)
def test_any_facts_are_found_where_the_standards_put_them(name: str, facts: PictureFacts) -> None:
    assert differences(*delivered(name, facts)) == []


@pytest.mark.parametrize("name", CONTAINERS)
@given(facts=ANY_FACTS, field=st.sampled_from(TEXTS), words=WORDS)
@settings(max_examples=15)
def test_a_text_that_is_another_is_found(name: str, facts: PictureFacts, field: str, words: str) -> None:
    file, data = delivered(name, facts)
    changes: dict[str, Any] = {field: words + "!"}
    other = replace(file, facts=replace(facts, **changes))
    cells = compare(other, "a", "other bytes", read_back(data)).cells
    assume(getattr(facts, field) != words + "!")
    differ = {cell.field for cell in cells if not cell.same}
    assert {"acquire_url": "licensor"}.get(field, field) in differ  # the address is a part of the licensor
    assert differ <= {field, "licensor", "marked"}


@pytest.mark.parametrize("words", [70_000, 200_000])
def test_words_that_one_jpeg_segment_cannot_hold(words: int) -> None:
    facts = PictureFacts(language="en", description="Soup, " * (words // 6), alt="A bowl", creators=("Ines",))
    file, data = delivered("jpeg", facts)
    assert differences(file, data) == []
    shorter = replace(file, facts=replace(facts, description=facts.description and facts.description[:-1]))
    (line,) = [line for line in differences(shorter, data) if "description in XMP (en)" in line]
    assert line.startswith("a: description in XMP (en): found 'Soup, Soup, ")


@pytest.mark.parametrize("name", CONTAINERS)
@pytest.mark.parametrize("ppi", [72, 240, 300, 299.5, 1200])
def test_resolutions_agree_as_far_as_each_container_can_state_them(name: str, ppi: float) -> None:
    file, data = delivered(name, PictureFacts(language="en"), ppi)
    assert differences(file, data) == []
    other = differences(replace(file, ppi=ppi + 2), data)
    assert len(other) == 2 + (name in {"jpeg", "png"})
    assert all(": resolution in " in line for line in other)


def test_camera_facts_are_compared() -> None:
    file, data = delivered("webp", PictureFacts(language="en"))
    other = replace(file, camera=replace(file.camera, exposure_s=Fraction(1, 61), model=None))
    assert differences(other, data) == [
        "a: camera and exposure in Exif: found 'One'; the job says nothing of it; export again",
        "a: camera and exposure in Exif: found '0.0166667'; the job says '0.0163934'; export again",
    ]


def test_without_facts_only_the_picture_is_compared() -> None:
    file, data = delivered("jpeg", PictureFacts(language="en", title="x"))
    assert differences(replace(file, facts=None), data) == []
    assert differences(replace(file, facts=None, size=Size(21, 17)), data) == [
        "a: it has 20 x 17 pixels; 21 x 17 were delivered",
        "a: pixel dimensions in Exif: found '20'; the job says '21'; export again",
    ]
