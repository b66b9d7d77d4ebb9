from __future__ import annotations

import pickle
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.faults import Fault, FrameUnreadable, RequestRefused, counted, of_job, printable_line, stopped_by


def test_a_fault_says_where_what_what_instead_and_the_nearest_name() -> None:
    fault = Fault("job.toml", "no target is called 'feed/tal'", "known are feed/tall", "frames[2] a.jpg", "feed/tall")
    assert str(fault) == (
        "job.toml: frames[2] a.jpg: no target is called 'feed/tal'; known are feed/tall; did you mean 'feed/tall'?"
    )


def test_a_fault_of_a_whole_file_has_no_place_in_it() -> None:
    assert (
        str(Fault("bowl.jpg", "is empty (0 bytes)", "copy it again")) == "bowl.jpg: is empty (0 bytes); copy it again"
    )


def test_what_cannot_be_seen_is_spelled_out_so_that_the_sentence_stays_on_one_line() -> None:
    name = "a\nb\x1b[31m\udcff\u202e.jpg"
    assert str(Fault(name, "found", "wanted")) == r"a\nb\x1b[31m\udcff\u202e.jpg: found; wanted"


def test_spaces_in_a_name_are_shown_as_they_are() -> None:
    assert str(Fault("two  spaces.jpg", "é 熱", "wanted")) == "two  spaces.jpg: é 熱; wanted"


@given(st.text(), st.text(), st.text(), st.text(), st.none() | st.text())
def test_every_fault_is_one_printable_line(file: str, found: str, wanted: str, where: str, close: str | None) -> None:
    assert str(Fault(file, found, wanted, where, close)).isprintable()


def test_a_refused_request_shows_all_its_faults() -> None:
    first, second = Fault("a", "b", "c"), Fault("d", "e", "f")
    with pytest.raises(RequestRefused, match=r"^a: b; c\nd: e; f$") as refused:
        raise RequestRefused(first, second)
    assert (first, second) == refused.value.faults


def test_an_unreadable_frame_travels_between_processes() -> None:
    error = FrameUnreadable(Fault("bowl.jpg", "is cut short", "copy it again", nearest="bowl-2.jpg"))
    again = pickle.loads(pickle.dumps(error))  # noqa: S301 (our own bytes)
    assert (type(error), str(error), error.fault) == (type(again), str(again), again.fault)


@pytest.mark.parametrize(("number", "words"), [(0, "0 files"), (1, "1 file"), (2, "2 files")])
def test_things_are_counted_in_words(number: int, words: str) -> None:
    assert words == counted(number, "file")


@pytest.mark.parametrize(
    ("words", "line"),
    [
        ("two\nlines\tand \x1b[31mred\x07", r"two\nlines\tand \x1b[31mred\x07"),
        ("\u202eabc\u2066", r"\u202eabc\u2066"),
        ("n'est-ce pas\u00a0!", "n'est-ce pas !"),
        ("👩\u200d🍳", "👩\u200d🍳"),
        ("\ud800 \x9b31m", r"\ud800 \x9b31m"),
    ],
)
def test_somebodys_words_act_on_nothing_in_a_terminal(words: str, line: str) -> None:
    assert line == printable_line(words)


@given(st.text())
def test_somebodys_words_stay_on_their_line(words: str) -> None:
    assert printable_line(words).replace("\u200c", "").replace("\u200d", "").isprintable()


@pytest.mark.parametrize(
    ("file", "said"),
    [
        ("job.toml", "shoots/soup/job.toml"),
        ("bowl.jpg", "shoots/soup/job.toml: bowl.jpg"),
        ("shoots/soup/out/manifest.json", "shoots/soup/out/manifest.json"),
        ("--only", "shoots/soup/job.toml: --only"),
    ],
)
def test_a_fault_of_one_job_among_several_says_whose_it_is(file: str, said: str) -> None:
    assert of_job(Fault(file, "b", "c"), Path("shoots/soup/job.toml")).file == said


def test_what_stopped_a_run_is_said_with_its_place() -> None:
    assert str(stopped_by(OSError(28, "No space left on device", "out/manifest.json"))) == (
        "out/manifest.json: the run stopped here (no space left on device); "
        "mend that and run it again: what was finished is kept"
    )
    assert str(stopped_by(OSError("gone"))).startswith("the output: the run stopped here (gone); ")
