from __future__ import annotations

import dataclasses
import hashlib
import json
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.frames.header import CameraFacts
from pipeline.ledger.keys import key
from pipeline.light.box import Box, Size
from pipeline.plan.facts import PictureFacts
from pipeline.plan.rendition import PixelSettings


@dataclasses.dataclass(frozen=True)
class Words:
    language: object


SETTINGS = PixelSettings(0.5, 1.0, 0.08, "srgb", None, (("jpeg", 88), ("webp", 82), ("avif", 62)))
FACTS = PictureFacts(language="en")
CAMERA = CameraFacts()
OTHER: dict[str, Any] = {
    "sharpen_radius_px": 0.6,
    "sharpen_amount": 0.9,
    "halo_limit": 0.2,
    "colour": "display-p3",
    "mark": "Proof",
    "quality": (("jpeg", 89), ("webp", 82), ("avif", 62)),
    "language": "fr",
    "decorative": True,
    "creators": ("Ines Falkenrath",),
    "keywords": ("soup",),
    "exposure_s": Fraction(1, 60),
    "f_number": Fraction(8),
    "iso": 400,
    "focal_mm": Fraction(50),
    "position": True,
    "serials": True,
}
FIELDS = [
    pytest.param(value, field.name, id=f"{type(value).__name__}.{field.name}")
    for value in (SETTINGS, FACTS, CAMERA, Box(0, 0, 600, 400), Size(600, 400))
    for field in dataclasses.fields(value)
]


def test_a_key_is_sixty_four_hexadecimal_figures() -> None:
    assert len(key(SETTINGS)) == 64
    assert int(key(SETTINGS), 16)


def test_equal_values_have_equal_keys() -> None:
    assert key(SETTINGS, "x", 1) == key(dataclasses.replace(SETTINGS), "x", 1)
    assert key({"a": 1, "b": 2}) == key({"b": 2, "a": 1})


@pytest.mark.parametrize(("value", "name"), FIELDS)
def test_a_key_changes_with_each_single_field(value: Any, name: str) -> None:  # noqa: ANN401 (several dataclasses)
    before = getattr(value, name)
    after = OTHER.get(name, before + 1 if isinstance(before, int) else "something else")
    assert before != after
    assert key(value) != key(replace(value, **{name: after}))


@given(st.lists(st.integers() | st.text() | st.booleans(), max_size=3), st.lists(st.integers() | st.text(), max_size=3))
def test_different_parts_have_different_keys(one: list[object], other: list[object]) -> None:
    same = one == other and [type(value) for value in one] == [type(value) for value in other]
    assert same == (key(*one) == key(*other))


def test_parts_do_not_run_together() -> None:
    assert len({key("a", "b"), key("ab"), key(["a", "b"]), key("a", ["b"]), key("a", "b", None)}) == 5


def test_a_key_is_the_same_in_every_run() -> None:
    # A hash of Python's own would differ here: it is seeded anew in every process.
    program = (
        "from pipeline.ledger.keys import key; from pipeline.light.box import Box; print(key(Box(1, 2, 3, 4), 'é', .1))"
    )
    keys = {
        subprocess.run(
            [sys.executable, "-c", program], env={"PYTHONHASHSEED": seed}, capture_output=True, text=True, check=True
        ).stdout.strip()
        for seed in ("1", "2")
    }
    assert keys == {key(Box(1, 2, 3, 4), "é", 0.1)}


def test_bytes_count_by_their_digest() -> None:
    digest = hashlib.sha256(b"a profile").hexdigest()
    assert key(b"a profile") == key(bytes(bytearray(b"a profile"))) != key(b"a profilf")
    assert len({key(b"a profile"), key("a profile"), key(digest)}) == 3


@pytest.mark.parametrize("value", [object(), {1, 2}, bytearray(b"bytes"), PixelSettings])
def test_what_has_no_one_way_of_writing_it_has_no_key(value: object) -> None:
    with pytest.raises(TypeError, match="has no place in a key"):
        key(value)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_no_number_has_no_key(value: float) -> None:
    with pytest.raises(ValueError, match="JSON"):
        key(value)


def test_a_key_is_the_digest_of_its_parts_as_json() -> None:
    written = json.dumps(["a", None, {"language": "en"}, [1.0, 1]], sort_keys=True)
    assert key("a", None, Words("en"), (1.0, 1)) == hashlib.sha256(written.encode()).hexdigest()
    assert key() == hashlib.sha256(b"[]").hexdigest()


def test_what_is_equal_and_not_written_alike_has_keys_of_its_own() -> None:
    whole, part = Words(1), Words(1.0)
    assert whole == part
    assert key(whole) != key(part)
    assert key(whole) == key(Words(1))


def test_many_values_have_their_own_keys() -> None:
    assert len({key(Words(str(number))) for number in range(10_000)}) == 10_000
