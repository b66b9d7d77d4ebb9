"""Whatever a file holds, reading it gives its tables or one sentence."""

from __future__ import annotations

import os
import sys
import tomllib
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.faults import Fault
from pipeline.job.toml_file import parse_tables, read_tables

if TYPE_CHECKING:
    from pathlib import Path

SMALL = 'title = "Crème brûlée"\n[shoot]\nsteps = [1, 2]\n'


def said_of(path: Path) -> str:
    answer = read_tables(path, path.name)
    assert isinstance(answer, Fault)
    return str(answer)


def said_of_text(data: bytes | str) -> str:
    answer = parse_tables(data.encode() if isinstance(data, str) else data, "job.toml")
    assert isinstance(answer, Fault)
    return str(answer)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_utf_8_is_read_with_a_mark_or_without_and_with_either_line_end(
    tmp_path: Path, encoding: str, line_end: str
) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(SMALL.replace("\n", line_end).encode(encoding))
    assert read_tables(path, "job.toml") == {"title": "Crème brûlée", "shoot": {"steps": [1, 2]}}


@pytest.mark.parametrize(
    ("data", "line"),
    [(SMALL.encode("latin-1"), 1), (b'a = 1\nb = "\xe9"\n', 2), (SMALL.encode("utf-16"), 1), (b"\xff\xd8\xff\xe0", 1)],
    ids=["latin-1", "latin-1 further down", "utf-16", "a picture"],
)
def test_what_is_not_utf_8_says_in_which_line(data: bytes, line: int) -> None:
    assert said_of_text(data) == (
        f"job.toml: line {line}: it is not text in UTF-8; save it as UTF-8 text, or name another file"
    )


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert said_of(tmp_path / "jop.toml") == "jop.toml: there is no such file; name a TOML file that is there"


def test_a_folder(tmp_path: Path) -> None:
    assert said_of(tmp_path).endswith("this is a folder; name the file itself, such as job.toml in it")


def test_what_would_never_end_is_not_opened(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    (tmp_path / "endless.toml").symlink_to("/dev/zero")
    for name in ("pipe.toml", "endless.toml"):
        assert said_of(tmp_path / name) == f"{name}: this is a device or a pipe, not a file; name a TOML file"


def test_a_name_that_no_system_has(tmp_path: Path) -> None:
    assert "it cannot be read (file name too long); check its name" in said_of(tmp_path / ("a" * 300))
    assert said_of(tmp_path / "a\0b").startswith(r"a\x00b: it cannot be read (embedded null byte); check its name")


def test_a_place_below_a_file(tmp_path: Path) -> None:
    (tmp_path / "bowl.jpg").touch()
    assert "it cannot be read (not a directory)" in said_of(tmp_path / "bowl.jpg" / "job.toml")


def test_ten_megabytes_are_no_job(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_bytes(b"# a comment\n" * 900_000)
    assert said_of(path) == "job.toml: it is larger than 4 MB; name a TOML file: a short text"


@pytest.mark.parametrize(
    "text",
    [
        "a = " + "[" * 5000 + "]" * 5000,
        "a = " + "[" * 25 + "]" * 25,
        "a = " + "{b = " * 3000 + "1" + "}" * 3000,
        "b." * 2000 + "b = 1",
        "[" + ".".join("b" * 3000) + "]\nc = 1",
    ],
    ids=["lists", "lists, just too deep", "tables in one line", "dotted keys", "a dotted heading"],
)
def test_deep_nesting_is_refused(text: str) -> None:
    assert said_of_text(text) == (
        "job.toml: its tables are nested more than 24 deep; write it flat, as the examples are"
    )


def test_nesting_that_a_person_may_write_is_read() -> None:
    text = "a = " + "[" * 23 + "]" * 23
    assert parse_tables(text.encode(), "job.toml") == tomllib.loads(text)


def test_a_number_larger_than_toml_allows_says_where() -> None:
    text = '[[frames]]\nfile = "a.jpg"\nsubject = [0.5, 9223372036854775808]'
    assert said_of_text(text) == (
        "job.toml: frames[1] a.jpg: subject[2]: found a whole number of more than 18 digits; write a smaller one"
    )
    assert parse_tables(b"a = 9223372036854775807", "job.toml") == {"a": 9223372036854775807}


@pytest.mark.parametrize("digits", ["9" * 5000, "0x" + "f" * 5000])
def test_numbers_of_thousands_of_digits(digits: str) -> None:
    assert "digits; " in said_of_text(f"a = {digits}")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '\ntitle "Soup"',
            'line 2: found title "Soup"; this is not TOML (there is no = after the key); mend this line',
        ),
        ('title = "Soup\nb = 1', 'line 1: found title = "Soup; this is not TOML (the quotes are not closed); mend'),
        (
            "title = “Soup”",
            "found title = “Soup”; this is not TOML (it is no text in straight quotes, no number, date,",
        ),
        ("a = 1\na = 2", "line 2: found a = 2; this is not TOML (this key is there already); mend this line"),
        ("[a]\n[b]\n[a]", "line 3: found [a]; this is not TOML (this table is there already); mend this line"),
        ("date = 2026-02-31", "line 1: found date = 2026-02-31; this is not TOML (invalid date or datetime); mend"),
        ("a = [1,", "end of the file: it ends in the middle of a value; close what was opened last"),
        ("a = \0", r"line 1: found a = \x00; this is not TOML ("),
    ],
)
def test_what_is_no_toml_says_in_which_line_and_why(text: str, said: str) -> None:
    assert said in said_of_text(text)


@given(st.binary())
def test_no_bytes_can_break_it(data: bytes) -> None:
    answer = parse_tables(data, "job.toml")
    assert isinstance(answer, dict) or str(answer).isprintable()


@given(st.text(alphabet="ab=.[]{}\"'#\n\\,0123456789-:T \u201c\u2028", max_size=60))
def test_no_text_near_toml_can_break_it(text: str) -> None:
    answer = parse_tables(text.encode(), "job.toml")
    expected: dict[str, Any] | None
    try:
        expected = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        expected = None
    assert (expected is None) == isinstance(answer, Fault)
    assert expected is None or expected == answer


def test_the_limit_of_digits_is_pythons_own() -> None:
    assert sys.get_int_max_str_digits() > 0, "without it the test above of thousands of digits shows nothing"
