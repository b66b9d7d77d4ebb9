"""A reply as JSON: its form, its limits, and what is no reply."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from pipeline.deliver.review.reply_file import LONGEST_NAME, LONGEST_NOTE, MOST_SPOTS, Reply, read_json, reply_schema
from pipeline.deliver.review.state import Spot
from tests.deliver.review.answers import frame, json_of, rendition, reply, spot


def read(document: dict[str, Any]) -> Reply:
    found = read_json(json_of(document).decode(), "reply.json")
    assert isinstance(found, Reply), [str(fault) for fault in found]
    return found


def faults(text: str | dict[str, Any]) -> list[str]:
    found = read_json(text if isinstance(text, str) else json.dumps(text), "reply.json")
    assert isinstance(found, list)
    return [str(fault) for fault in found]


WHOLE = reply(
    frame("bowl", "change", "Could the spoon be out?\nAnd the napkin.", (spot(0.31, 0.3, 0.62, 0.8), spot(0.5, 0.5)),
          rendition("partner/proof", "a" * 32, "approve", "fine", spot(0, 1)), rendition("partner/final", "b" * 32)),
    frame("spoon", "leave-out"),
    frame("open"),
)  # fmt: skip


def test_a_reply_says_for_each_frame_and_rendition_what_was_said() -> None:
    found = read(WHOLE)
    assert (found.reviewer, found.date, found.outlet) == ("Ines Falkenrath", "2026-11-25", "partner")
    assert [one.verdict for one in found.frames] == ["change", "leave-out", None]
    bowl = found.frames[0]
    assert bowl.note == "Could the spoon be out?\nAnd the napkin."
    assert [Spot((0.31, 0.3, 0.62, 0.8)), Spot((0.5, 0.5))] == [one.spot for one in bowl.spots]
    expected = [("partner/proof", "approve"), ("partner/final", None)]
    assert expected == [(one.rendition, one.verdict) for one in bowl.renditions]


def test_what_is_kept_reads_back_the_same() -> None:
    found = read(WHOLE)
    again = read_json(found.to_json().decode(), "kept.json")
    assert found == again
    assert json.loads(found.to_json()) == WHOLE


def test_a_box_that_was_drawn_from_the_lower_right_is_the_same_box() -> None:
    found = read(reply(frame("bowl", "change", "", (spot(0.62, 0.8, 0.31, 0.3),))))
    assert found.frames[0].spots[0].spot == Spot((0.31, 0.3, 0.62, 0.8))


def test_the_schema_takes_what_we_take() -> None:
    schema = json.loads(reply_schema())
    Draft202012Validator.check_schema(schema)
    judge = Draft202012Validator(schema)
    assert judge.is_valid(WHOLE)
    for wrong in (reply(round="x"), reply(plateline_reply=2), reply(more=1), reply(frame("bowl", "maybe"))):
        assert not judge.is_valid(wrong)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"round": "abc"}, "round: found "),
        ({"reviewer": ""}, 'reviewer: found ""; the reviewer\'s name is needed'),
        ({"reviewer": "\u202e \u200b"}, "the reviewer's name is needed"),
        ({"reviewer": "x" * (LONGEST_NAME + 1)}, "it may have at most 200 letters"),
        ({"date": "25.11.2026"}, 'date: found "25.11.2026"; it must be a date such as 2026-11-25'),
        ({"date": "2026-02-30"}, "it must be a date such as 2026-11-25"),
        ({"outlet": "../partner"}, "outlet: found "),
        ({"frames": [frame("../bowl")]}, "frames[1] ../bowl: frame: found "),
        ({"frames": [frame("bowl", "aprove")]}, "frames[1] bowl: verdict: found \"aprove\"; it must be 'approve', "),
        ({"frames": [frame("bowl", "change", "x" * (LONGEST_NOTE + 1))]}, "it may have at most 10000 letters"),
        ({"frames": [frame("bowl", "change", "", (spot(0.5, 0.5),) * (MOST_SPOTS + 1))]}, "at most 50 of them"),
        ({"frames": [frame("bowl", "change", "", (spot(0.5, 1.5),))]}, "it must be at most 1"),
        ({"frames": [frame("bowl", "change", "", ({"point": [0, 0], "box": [0, 0, 1, 1]},))]}, "a spot is a point or"),
        ({"frames": [frame("bowl", "change", "", ({},))]}, "a spot is a point or a box"),
        ({"frames": [frame("bowl", None, "", (), rendition("partner/../proof"))]}, "rendition: found "),
        ({"frames": [frame("bowl", None, "", (), rendition("partner/proof", "zz"))]}, "key: found "),
        ({"mood": "happy"}, "'mood' is no key of this table"),
    ],
)
def test_what_does_not_fit_the_form_is_refused_with_its_place(changed: dict[str, Any], sentence: str) -> None:
    said = faults(reply(**changed))
    assert len(said) == 1
    assert sentence in said[0]
    assert said[0].startswith("reply.json: ")


def test_all_that_does_not_fit_is_told_at_once() -> None:
    said = faults(reply(frame("bowl", "maybe"), frame("spoon", "no"), date="today"))
    assert [any(word in one for one in said) for word in ('"maybe"', '"no"', '"today"')] == [True] * 3


@pytest.mark.parametrize("text", ["[]", '"reply"', "{}", '{"reply": 1}', "null", "12"])
def test_other_json_is_no_reply(text: str) -> None:
    assert faults(text) == ["reply.json: this is no reply; name the file that the reviewer saved on the contact sheet"]


def test_a_reply_of_a_newer_form_is_told_as_one() -> None:
    (said,) = faults(reply(plateline_reply=2, stars=5))
    assert said == (
        "reply.json: it was written for a newer plateline (its form has number 2, ours 1); "
        "use that version of plateline to read it"
    )


@pytest.mark.parametrize("version", ["1", 0, None, 1.5, -1])
def test_a_form_that_there_never_was(version: object) -> None:
    assert "plateline_reply: found " in faults(reply(plateline_reply=version))[0]


@pytest.mark.parametrize("cut", [10, 100, 200, -1, -2, -30])
def test_a_cut_file(cut: int) -> None:
    said = faults(json_of(WHOLE).decode()[:cut])
    assert said == ["reply.json: it ends in the middle; ask for it to be sent again"]


@given(st.integers(1, len(json_of(WHOLE)) - 1))
def test_a_file_cut_anywhere_is_never_taken(cut: int) -> None:
    assert len(faults(json_of(WHOLE)[:cut].decode(errors="ignore"))) == 1


def test_damage_in_the_middle_says_where() -> None:
    said = faults('{"plateline_reply": 1,\n "round": ,}')
    assert said == ["reply.json: it is damaged (line 2, column 11); ask for it to be sent again"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('{"plateline_reply": 1, "plateline_reply": 1}', "it says one thing twice (a key is repeated)"),
        ('{"plateline_reply": NaN}', "it holds NaN, which is no number"),
        ('{"plateline_reply": -Infinity}', "it holds -Infinity, which is no number"),
        ('{"plateline_reply": 1e999}', "it holds a number larger than any fraction"),
        ('{"plateline_reply": 1' + "0" * 5000 + "}", "it holds a number of thousands of digits"),
        ('{"plateline_reply": ' + "[" * 100_000 + "]" * 100_000 + "}", "it is nested deeper than any reply"),
        ('{"a":' * 100_000 + "1" + "}" * 100_000, "it is nested deeper than any reply"),
    ],
)
def test_json_that_no_page_saves(text: str, found: str) -> None:
    assert [f"reply.json: {found}; ask for it to be sent again"] == faults(text)


def test_nested_as_deep_as_python_reads_it() -> None:
    # Deep enough for the reader, too deep for what checks it.
    document = '{"plateline_reply": 1, "frames": ' + "[" * 600 + "]" * 600 + "}"
    assert faults(document)


def test_half_a_letter() -> None:
    said = faults(json.dumps(reply(frame("bowl", "change", "\ud800"))))
    assert said == ["reply.json: it holds half of a letter (a lone surrogate); ask for it to be sent again"]


HOSTILE = [
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "javascript:alert(1)",
    "x" * LONGEST_NOTE,
    "\u202eabc\u202c עברית",
    "../../../etc/passwd",
    "\x1b[31mred\x1b]0;title\x07\x9b2J",
    "\0",
    "a\r\nb",
]


@pytest.mark.parametrize("words", HOSTILE)
def test_hostile_words_in_a_note_are_kept_as_they_are(words: str) -> None:
    found = read(reply(frame("bowl", "change", words)))
    assert words == found.frames[0].note
    assert found == read_json(found.to_json().decode(), "kept.json")


@pytest.mark.parametrize("words", HOSTILE)
@pytest.mark.parametrize("place", ["round", "outlet", "date", "frame", "rendition", "key", "verdict"])
def test_hostile_words_where_a_name_belongs_are_refused_on_one_line(words: str, place: str) -> None:
    if place in {"round", "outlet", "date"}:
        said = faults(reply(**{place: words}))
    elif place in {"frame", "verdict"}:
        said = faults(reply(frame() | {place: words}))
    else:
        said = faults(reply(frame("bowl", None, "", (), rendition() | {place: words})))
    assert said
    assert all(one.isprintable() for one in said)
