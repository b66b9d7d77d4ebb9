from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import piexif
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.carried import carried_in
from pipeline.frames.exif_words import exif_words, factory_words, names
from pipeline.frames.words import Words
from tests.frames.files import encoded, noise

if TYPE_CHECKING:
    from pipeline.frames.camera_facts import Source


def sources(first: dict[int, Any], second: dict[int, Any] | None = None) -> tuple[Source, ...]:
    """Return the directories of a JPEG with an Exif block by piexif."""
    block = piexif.dump({"0th": first, "Exif": second or {}})
    return carried_in(io.BytesIO(encoded(noise(16, 16), "JPEG", exif=block)), "jpeg").exif


@pytest.mark.parametrize(
    ("artists", "expected"),
    [
        ("Ana", ["Ana"]),
        ("Ana; Bo", ["Ana", "Bo"]),  # CIPA DC-008, tag 315, gives this form as its example
        ("Ana;Bo", ["Ana;Bo"]),
        ('"Ana; Bo"; Cy', ["Ana; Bo", "Cy"]),
        ('"Ana ""the Pan"" Bo"', ['Ana "the Pan" Bo']),
        ('Ana "x" Bo; Cy', ['Ana "x" Bo', "Cy"]),
        ('"Ana; Bo', ['"Ana', "Bo"]),
        ("Ana;", ["Ana"]),
        ("Ana\0\0 ", ["Ana"]),
        ("", []),
    ],
)
def test_names_of_an_artist_field(artists: str, expected: list[str]) -> None:
    assert expected == names(artists)


@given(st.text(max_size=60))
def test_no_artist_field_raises(text: str) -> None:
    assert sum(map(len, names(text))) <= len(text)


@pytest.mark.parametrize(
    ("taken", "more", "date"),
    [
        (b"2026:09:12 10:24:31", {}, "2026-09-12T10:24:31"),
        (b"2026:09:12 10:24:31", {0x9011: b"+02:00"}, "2026-09-12T10:24:31+02:00"),
        (b"2026:09:12 10:24:31", {0x9291: b"250"}, "2026-09-12T10:24:31.250000"),
        (b"2026:09:12 10:24:31", {0x9011: b"   :  ", 0x9291: b"   "}, "2026-09-12T10:24:31"),
        (b"    :  :     :  :  ", {}, None),
        (b"0000:00:00 00:00:00", {}, None),
        (b"2026:02:30 10:24:31", {}, None),
    ],
)
def test_when_it_was_taken(taken: bytes, more: dict[int, bytes], date: str | None) -> None:
    assert exif_words(sources({}, {0x9003: taken, **more})) == Words(date_created=date)


@pytest.mark.parametrize(
    ("description", "make", "is_factory"),
    [
        (b"INVENTED DIGITAL CAMERA", b"INVENTED OPTICAL CO.", True),
        (b"INVENTED DSC          ", b"Invented", True),
        (b"Invented soup of the day", b"Invented", False),
        (b"SOUP", b"Invented", False),
        (b"SOUP", b"", False),
    ],
)
def test_what_a_camera_writes_by_itself(description: bytes, make: bytes, is_factory: bool) -> None:  # noqa: FBT001 (a column)
    found = factory_words(sources({0x010E: description, 0x010F: make}))
    assert found == (description.decode().strip() if is_factory else None)


def test_latin_1_where_it_is_no_utf_8_and_blank_is_silent() -> None:
    assert exif_words(sources({0x010E: "Crème".encode("latin-1"), 0x8298: b"   "})) == Words(description="Crème")
