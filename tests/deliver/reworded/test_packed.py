"""What was packed comes back as it was, the same object where it was the same; nothing else comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.reworded.kept import _CLASSES
from pipeline.deliver.reworded.packed import packed, unpacked
from tests.small_shoot import JOB, plan_of

if TYPE_CHECKING:
    from collections.abc import Callable

PLAIN = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text()
    | st.fractions()
    | st.binary()
    | st.sampled_from([Path("/a/b"), Path("c d")])
)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two values."""

    one: object
    other: object


def pairs(values: st.SearchStrategy[object]) -> st.SearchStrategy[object]:
    return st.lists(values).map(tuple) | st.builds(Pair, values, values)


@given(st.recursive(PLAIN, pairs))
def test_what_was_packed_comes_back(value: object) -> None:
    back = unpacked(packed(value), [Pair])
    assert back == value
    assert repr(back) == repr(value)  # 1 is no 1.0, and no True


def test_one_object_comes_back_as_one() -> None:
    shared = Pair(1, "x")
    first, second, equal = unpacked(packed((shared, Pair(shared, 2), Pair(1, "x"))), [Pair])
    assert second.one is first
    assert equal == first
    assert equal is not first


def test_a_planned_frame_comes_back(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, JOB, (1200, 800), exposure_s=Fraction(1, 60), make="Halden Optik")
    frame = plan.frames[0]
    value = (frame.header, frame.whole, *(replace(one, small=one.preview) for one in frame.renditions))
    assert unpacked(packed(value), _CLASSES) == value


@pytest.mark.parametrize("value", [{1: 2}, [1], {1}, object(), Pair, float("nan")], ids=type)
def test_what_has_no_place_is_refused(value: object) -> None:
    with pytest.raises((TypeError, ValueError)):
        packed(value)


def refused(text: str) -> Callable[[], object]:
    return lambda: unpacked(text, [Pair])


def test_nothing_but_the_classes_named_is_made() -> None:
    with pytest.raises(KeyError):
        unpacked(packed(Pair(1, 2)), [])
    with pytest.raises(KeyError):
        unpacked('[[["eval", "1"]], ["object", 0]]', [Pair])
