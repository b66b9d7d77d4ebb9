"""A reply as text, as mail leaves it."""

from __future__ import annotations

import email.message
import email.policy
import textwrap
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.review.reply_file import Reply, read_json
from pipeline.deliver.review.reply_text import holds_reply, read_text
from tests.deliver.review.answers import ROUND, frame, json_of, rendition, reply, spot, text_of

WHOLE = reply(
    frame("bowl", "change", "Could the spoon be out?\nAnd the napkin: a little to the left.",
          (spot(0.31, 0.3, 0.62, 0.8), spot(0.5, 0.5)),
          rendition("partner/proof", None, "approve", "fine", spot(0, 1)), rendition("partner/final", None)),
    frame("wooden-spoon", "leave-out", "", (), rendition("partner/proof", None)),
    frame("still-open", None, "", (), rendition("partner/proof", None)),
)  # fmt: skip
TEXT = text_of(WHOLE)


def read(text: str) -> Reply:
    found = read_text(text, "reply.txt")
    assert [Reply] == [type(one) for one in found], found
    assert isinstance(found[0], Reply)
    return found[0]


def faults(text: str) -> list[str]:
    return [str(one) for one in read_text(text, "reply.txt")]


def expected(document: dict[str, Any] = WHOLE) -> Reply:
    found = read_json(json_of(document).decode(), "reply.json")
    assert isinstance(found, Reply)
    return found


def test_text_says_what_the_file_says() -> None:
    assert expected() == read(TEXT)


def flowed(text: str) -> str:
    """Return text as a mail program wraps it, at 60 letters."""
    return "\n".join(part for line in text.splitlines() for part in (textwrap.wrap(line, 60) or [""]))


def as_mailed(text: str, encoding: str) -> str:
    """Return text after a way through a real mail: folded, encoded and decoded by the standard library."""
    message = email.message.EmailMessage(policy=email.policy.SMTP)
    message.set_content(text, cte=encoding)
    parsed = email.message_from_bytes(message.as_bytes(), policy=email.policy.default)
    assert isinstance(parsed, email.message.EmailMessage)
    return str(parsed.get_content())


@pytest.mark.parametrize(
    "change",
    [
        pytest.param(lambda text: text.replace("\n", "\r\n"), id="crlf"),
        pytest.param(lambda text: text.replace("\n", "\r"), id="cr"),
        pytest.param(lambda text: text.replace("\n", "\n\n"), id="blank lines between"),
        pytest.param(lambda text: "\n".join(f"> {line}" for line in text.split("\n")), id="quoted"),
        pytest.param(lambda text: "\n".join(f"> >> {line}" for line in text.split("\n")), id="quoted thrice"),
        pytest.param(lambda text: "\n".join(f">{line}" for line in text.split("\n")), id="quoted without space"),
        pytest.param(lambda text: text.replace("\n", "  \n"), id="trailing spaces"),
        pytest.param(lambda text: "\n".join(f"    {line}" for line in text.split("\n")), id="indented"),
        pytest.param(lambda text: text.replace(" ", "\u00a0"), id="non-breaking spaces"),
        pytest.param(lambda text: f"\ufeff{text}", id="byte order mark"),
        pytest.param(lambda text: f"Hello,\nhere it is:\n\n{text}\nBest,\nInes\n--\nround: table\n", id="a letter"),
        pytest.param(lambda text: text.replace("plateline reply", "Plateline Reply"), id="a capital"),
        pytest.param(lambda text: text.replace("note:", "Note :").replace("frame:", "FRAME:"), id="other capitals"),
        pytest.param(lambda text: text.replace("Leave out", "leave-out").replace("Approve", "APPROVE."), id="verdicts"),
        pytest.param(lambda text: text.replace("Leave out", "Leave\u2011out"), id="another hyphen"),
        pytest.param(lambda text: text.replace("0.31", "0,31"), id="decimal comma"),
        pytest.param(lambda text: text.replace("bowl", "bo\u200bwl"), id="invisible breaks"),
        pytest.param(flowed, id="wrapped"),
        pytest.param(lambda text: "\n".join(f"> {line}" for line in flowed(text).split("\n")), id="wrapped and quoted"),
        pytest.param(lambda text: as_mailed(text, "quoted-printable"), id="quoted-printable"),
        pytest.param(lambda text: as_mailed(text, "base64"), id="base64"),
    ],
)
def test_what_mail_does_to_text_changes_nothing(change: Any) -> None:  # noqa: ANN401 (str -> str)
    assert expected() == read(change(TEXT))


def test_curly_quotes_in_words_stay() -> None:
    words = "the “spoon” isn\u2019t ours"
    document = reply(frame("bowl", "change", words, (), rendition(key=None)))
    assert words == read(text_of(document)).frames[0].note


def test_a_long_note_wrapped_anywhere_reads_as_one_sentence() -> None:
    words = " ".join(["a rather long sentence about the light in the window"] * 40)
    document = reply(frame("bowl", "change", words, (), rendition(key=None)))
    assert words == read(flowed(text_of(document))).frames[0].note


WORDS = st.text(st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=12)
NOTES = st.lists(st.lists(WORDS, min_size=1, max_size=4).map(" ".join), min_size=1, max_size=3).map("\n".join)


@given(
    NOTES,
    st.sampled_from(["approve", "change", "leave-out", None]),
    st.lists(st.integers(0, 100), min_size=4, max_size=4),
)
def test_whatever_is_noted_comes_back(note: str, verdict: str | None, numbers: list[int]) -> None:
    left, top, right, bottom = (number / 100 for number in numbers)
    document = reply(frame("bowl", verdict, note, (spot(left, top, right, bottom),), rendition(key=None)))
    assert expected(document) == read(text_of(document))


def test_two_replies_in_one_letter() -> None:
    other = reply(frame("bowl", "approve", "", (), rendition(key=None)), reviewer="Bo", date="2026-11-20")
    older = "\n".join(f"> {line}" for line in text_of(other).split("\n"))
    found = read_text(f"{TEXT}\nOn Friday Bo wrote:\n{older}", "thread.txt")
    assert [expected(), expected(other)] == found


def test_without_outlet_the_sheet_was_her_own() -> None:
    document = reply(frame(key := "bowl", None, "", (), rendition(key=None)), outlet=None)
    assert key == "bowl"
    assert read(text_of(document)).outlet is None


@pytest.mark.parametrize("text", ["", "Hello", "plateline reply", "reply 1", "my plateline reply 1 is here"])
def test_other_text_holds_no_reply(text: str) -> None:
    assert not holds_reply(text)


def test_a_cut_text() -> None:
    assert faults(TEXT.replace("end of reply", "")) == [
        "reply.txt: from line 1: it ends in the middle: the line 'end of reply' is missing; ask for it to be sent again"
    ]


@given(st.integers(0, len(TEXT) - len("end of reply\n")))
def test_a_text_cut_anywhere_is_never_taken(cut: int) -> None:
    found = read_text(TEXT[:cut], "reply.txt")
    assert not any(isinstance(one, Reply) for one in found)


def test_text_of_a_newer_form() -> None:
    (said,) = faults(TEXT.replace("reply 1", "reply 2"))
    assert said == (
        "reply.txt: line 1: it was written for a newer plateline (its form has number 2, ours 1); "
        "use that version of plateline to read it"
    )


@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        ("round: 01234567", "round: 0123456", "round: found "),
        (f"round: {' '.join(['01234567', '89abcdef'] * 4)}\n", "", "from line 1: the line 'round:' is missing"),
        ("from: Ines Falkenrath\n", "", "from line 1: the line 'from:' is missing"),
        ("date: 2026-11-25", "date: yesterday", 'date: found "yesterday"; it must be a date such as 2026-11-25'),
        ("verdict: Change", "verdict: Chnage", "it must be 'approve', 'change' or 'leave-out'; did you mean 'change'?"),
        ("frame: bowl\n", "", "line 7: 'verdict' stands before any frame"),
        ("box: 0.31 0.30 0.62 0.80", "box: 0.31 0.30", "frames[1] bowl: spots[1]: box"),
        ("box: 0.31 0.30 0.62 0.80", "box: here", "found box: here; it must be four fractions such as 0.31"),
        ("point: 0.50 0.50", "point: 50 50", "it must be at most 1"),
        ("point: 0.50 0.50", f"point: {'9' * 400} 0", "found point: "),
        ("rendition: partner/proof", "rendition: ../../proof", "rendition: found "),
        ("frame: bowl", "frame: ../bowl", "frame: found "),
    ],
)
def test_what_does_not_fit_says_where(old: str, new: str, sentence: str) -> None:
    assert old in TEXT
    said = faults(TEXT.replace(old, new))
    assert any(sentence in one for one in said), said
    assert all(one.isprintable() for one in said)


@pytest.mark.parametrize(
    "words",
    [
        "<script>alert(1)</script>",
        '"><img src=x onerror=alert(1)>',
        "javascript:alert(1)",
        "\u202eabc עברית",
        "../../../etc/passwd",
        "\x1b[31mred\x07",
        "frame: x",
        "verdict: Approve",
        "plateline reply 1",
        "end of reply",
    ],
)
def test_hostile_words_in_a_note_are_a_note(words: str) -> None:
    document = reply(frame("bowl", "change", words, (), rendition(key=None)))
    found = read(text_of(document))
    assert (words, "change", 1) == (found.frames[0].note, found.frames[0].verdict, len(found.frames))


def test_text_of_many_long_lines_is_read_at_once() -> None:
    # As many letters as a file may have: nothing here may grow with the square of them.
    for many in ("> > >" * 390_000, "- " * 900_000, "a\n" * 900_000, " " * 1_900_000, "note:a\n" * 280_000):
        found = read_text(f"plateline reply 1\nround: {ROUND}\nframe: bowl\nnote: {many}\nend of reply", "reply.txt")
        assert not any(isinstance(one, Reply) for one in found)
