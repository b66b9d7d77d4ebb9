"""What a ledger keeps of inspected frames, and what it does not believe."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.faults import RequestRefused
from pipeline.frames.inspection.likeness import Likeness
from pipeline.frames.inspection.values import Finding, Inspection, Proposal
from pipeline.ledger.book import FILE, Ledger, read_inspected
from pipeline.ledger.inspected import Looked, from_json, to_json
from pipeline.light.box import Point, Region

if TYPE_CHECKING:
    from pathlib import Path

LOOKED, OTHER = Looked("a" * 64, "b" * 64), Looked("a" * 64, "c" * 64)
FOUND = Inspection(
    measures=(("clipped_share", 0.125), ("turn_lines", 3.0)),
    findings=(
        Finding("blown_window", "fault", 0.125, "of the pixels", 0.02, "It is white.", "Diffuse it.", "house"),
        Finding("same_view", "note", None, "", None, "Seen twice.", "Pick one.", "house", Region(0.0, 0.1, 0.2, 1.0)),
    ),
    proposal=Proposal(Point(0.46, 0.55), Region(0.3, 0.2, 0.7, 0.8), 0.83),
    turn_deg=-0.8,
    likeness=Likeness("00ff80", 2, 1, bytes([0, 255]), (0.001, *[None] * 8, 0.002)),
)  # fmt: skip
NOTHING = Inspection((), (), None, None)

numbers = st.floats(allow_nan=False, allow_infinity=False)
shares = st.floats(0, 1)
names = st.from_regex(r"[a-z][a-z0-9_]{0,20}", fullmatch=True)
sides = st.tuples(shares, shares).filter(lambda pair: pair[0] < pair[1])
regions = st.builds(lambda across, down: Region(across[0], down[0], across[1], down[1]), sides, sides)
findings = st.builds(
    Finding, names, st.sampled_from(["fault", "note"]), st.none() | numbers, st.text(), st.none() | numbers,
    st.text(), st.text(), st.text(), st.none() | regions,
)  # fmt: skip
blurs = st.none() | st.floats(1e-6, 1.0)
likenesses = st.tuples(st.integers(1, 9), st.integers(1, 9)).flatmap(
    lambda size: st.builds(
        Likeness,
        st.binary(min_size=1, max_size=20).map(bytes.hex),
        st.just(size[0]),
        st.just(size[1]),
        st.binary(min_size=size[0] * size[1], max_size=size[0] * size[1]),
        st.tuples(*[blurs] * 10),
    )
)
inspections = st.builds(
    Inspection,
    st.lists(st.tuples(names, numbers)).map(tuple),
    st.lists(findings, max_size=3).map(tuple),
    st.none() | st.builds(Proposal, st.builds(Point, shares, shares), regions, shares),
    st.none() | numbers,
    st.none() | likenesses,
)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=9), inner, max_size=3),
    max_leaves=6,
)


@given(inspections)
def test_what_is_kept_comes_back_as_it_was(found: Inspection) -> None:
    assert found == from_json(to_json(found))


def test_a_look_is_known_by_content_and_by_what_it_was_asked_with(tmp_path: Path) -> None:
    assert read_inspected(tmp_path, [LOOKED]) == {}
    assert list(tmp_path.iterdir()) == []
    with Ledger(tmp_path) as ledger:
        ledger.keep_inspected({LOOKED: NOTHING})
        ledger.keep_inspected({LOOKED: FOUND})
        assert ledger.inspected([LOOKED, OTHER]) == {LOOKED: FOUND}
    assert read_inspected(tmp_path, [OTHER, LOOKED]) == {LOOKED: FOUND}


def test_a_number_that_is_none_is_never_kept(tmp_path: Path) -> None:
    broken = Inspection((("clipped_share", float("nan")),), (), None, None)
    with Ledger(tmp_path) as ledger:
        with pytest.raises(ValueError, match="Out of range float values are not JSON compliant"):
            ledger.keep_inspected({OTHER: FOUND, LOOKED: broken})
        assert ledger.inspected([LOOKED, OTHER]) == {}


def changed(path: tuple[str | int, ...], value: object) -> str:
    """Return FOUND as JSON with one value changed; a `value` of ... takes it out."""
    whole: Any = json.loads(to_json(FOUND))
    inner = whole
    for step in path[:-1]:
        inner = inner[step]
    if value is ...:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return json.dumps(whole)


@pytest.mark.parametrize(
    "text",
    [
        "", "{}", "[]", "null", "[" * 100_000, '{"measures": []}', "0" * 1_000_001,
        changed(("likeness", "fingerprint"), "no hex"),
        changed(("likeness", "fingerprint"), 7),
        changed(("likeness", "width"), 3),
        changed(("likeness", "height"), 0),
        changed(("likeness", "levels"), "AP8"),
        changed(("likeness", "levels"), None),
        changed(("likeness", "blur"), [None] * 9),
        changed(("likeness", "blur", 0), -0.001),
        changed(("likeness", "blur", 0), "sharp"),
        changed(("turn_deg",), "level"),
        changed(("turn_deg",), float("inf")),
        changed(("turn_deg",), [True]),
        changed(("proposal", "subject", "x"), 1.01),
        changed(("proposal", "subject"), [0.5, 0.5]),
        changed(("proposal", "keep", "right"), 0.3),
        changed(("proposal", "keep", "right"), ...),
        changed(("proposal", "confidence"), float("nan")),
        changed(("measures", 0), ["clipped_share"]),
        changed(("measures", 0, 0), "Clipped share"),
        changed(("measures", 0, 1), None),
        changed(("measures",), [["a", 1.0]] * 1001),
        changed(("findings", 0, "level"), "whatever"),
        changed(("findings", 0, "says"), None),
        changed(("findings", 0, "threshold"), "low"),
        changed(("findings", 1, "where", "top"), -0.1),
        changed(("findings", 1, "more"), "of it"),
        changed(("findings", 1, "rule"), "\x1b[2J"),
    ],
)  # fmt: skip
def test_what_we_would_not_have_written_is_not_believed(tmp_path: Path, text: str) -> None:
    with Ledger(tmp_path) as ledger:
        ledger.keep_inspected({LOOKED: FOUND, OTHER: FOUND})
    with closing(sqlite3.connect(tmp_path / FILE)) as base, base:
        base.execute("UPDATE inspected SET inspection = ? WHERE asked = ?", (text, LOOKED.asked))
    with pytest.raises(RequestRefused, match="what it says of an inspected frame cannot be so"):
        read_inspected(tmp_path, [LOOKED])
    assert read_inspected(tmp_path, [OTHER]) == {OTHER: FOUND}


@given(json_values, st.data())
def test_no_json_crashes_the_reader(value: object, data: st.DataObject) -> None:
    whole = json.loads(to_json(FOUND))
    whole[data.draw(st.sampled_from(sorted(whole)))] = value
    for text in (json.dumps(value), json.dumps(whole)):
        try:
            found = from_json(text)
        except (ValueError, TypeError):
            continue
        assert found == from_json(to_json(found))
