"""The numbers that frames are judged by: whole, in range, frozen, changed by name."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from pipeline.light.thresholds import Thresholds, house_thresholds

HOUSE = house_thresholds()
PAGE = (Path(__file__).parents[2] / "docs" / "inspection.md").read_text(encoding="utf-8")
SOURCES = ("house choice", "common practice, no source")


@pytest.mark.parametrize("name", HOUSE)
def test_each_has_a_value_in_its_range_and_says_what_it_is_and_where_it_comes_from(name: str) -> None:
    one = HOUSE[name]
    assert isinstance(one.value, float)
    assert one.least <= one.value <= one.most
    assert one.least < one.most
    assert one.about[:1].islower()
    assert not one.about.endswith(".")
    # A source that is none of the two names a standard or a publication, by its number or year.
    assert one.source in SOURCES or any(letter.isdigit() for letter in one.source)


def test_names_are_those_of_toml_keys() -> None:
    assert all(name.isidentifier() and name.islower() for name in HOUSE)


def test_a_value_is_changed_by_name_and_the_rest_stays() -> None:
    changed = HOUSE.with_values({"sure_subject": 0.7})
    assert changed["sure_subject"].value == 0.7
    assert {name: one for name, one in changed.items() if name != "sure_subject"} == {
        name: one for name, one in HOUSE.items() if name != "sure_subject"
    }
    assert changed != HOUSE
    assert changed.with_values({"sure_subject": HOUSE["sure_subject"].value}) == HOUSE


@pytest.mark.parametrize("value", [-0.01, 1.01, float("nan"), float("inf")])
def test_a_value_out_of_its_range_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match=r"it must be from 0 to 1$"):
        HOUSE.with_values({"sure_subject": value})


def test_a_name_that_there_is_not() -> None:
    assert "sure_subjekt" not in HOUSE
    with pytest.raises(KeyError, match="sure_subjekt"):
        HOUSE.with_values({"sure_subjekt": 0.5})


def test_they_cannot_be_changed_in_place_and_travel_to_workers() -> None:
    with pytest.raises(FrozenInstanceError):
        HOUSE.rows = ()  # type: ignore[misc]
    assert pickle.loads(pickle.dumps(HOUSE)) == HOUSE == copy.deepcopy(HOUSE)  # noqa: S301 (our own bytes)
    assert isinstance(hash(HOUSE), int)
    assert len(Thresholds(())) == 0


@pytest.mark.parametrize("name", HOUSE)
def test_the_page_that_lists_them_is_of_today(name: str) -> None:
    one = HOUSE[name]
    row = f"| `{name}` | {one.value:.4g} | {one.unit} | {one.least:g} | {one.most:g} | {one.about} | {one.source} |"
    assert row in PAGE, "python -m tests.quality.inspection > docs/inspection.md"
