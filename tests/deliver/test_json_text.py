"""Our JSON against the standard library's, and what recurs."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as some

from pipeline.deliver.json_text import Recurring, Written, json_text

NUMBERS = some.integers() | some.floats(allow_nan=False, allow_infinity=False)
SCALARS = some.none() | some.booleans() | NUMBERS | some.text()
VALUES = some.recursive(
    SCALARS, lambda one: some.lists(one, max_size=4) | some.dictionaries(some.text(), one, max_size=4)
)


@given(VALUES)
def test_it_is_what_the_standard_library_writes(value: object) -> None:
    assert json_text(value) == json.dumps(value, ensure_ascii=False, indent=1)


@given(VALUES)
def test_what_is_written_already_stands_at_its_depth(value: object) -> None:
    written = Written(json_text(value, 2))
    assert json_text({"a": [written]}) == json.dumps({"a": [value]}, ensure_ascii=False, indent=1)


def test_what_json_does_not_have_is_no_value() -> None:
    with pytest.raises(TypeError):
        json_text({1, 2})


@dataclass(frozen=True)
class Facts:
    alt: object


def test_an_object_is_written_once_and_only_itself() -> None:
    asked: list[object] = []

    def plain(facts: Facts, policy: str) -> dict[str, object]:
        asked.append(facts.alt)
        return {"alt": facts.alt, "policy": policy}

    recurring, whole, part = Recurring(plain, 1), Facts(1), Facts(1.0)
    texts = [recurring(one, policy) for _ in range(2) for one in (whole, part) for policy in ("public", "full")]
    assert texts[:4] == texts[4:]
    assert len(set(texts)) == 4
    assert asked == [1, 1, 1.0, 1.0]
    assert json_text([texts[0]]) == json.dumps([{"alt": 1, "policy": "public"}], indent=1)
