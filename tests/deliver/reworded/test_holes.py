"""Holes against the very libraries that write the pages: a page with marks, filled, is the page with the words."""

from __future__ import annotations

import csv
import html
import io
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from markupsafe import escape

from pipeline.deliver.cells import cell_text
from pipeline.deliver.printable import printable
from pipeline.deliver.reworded.holes import Marks, are_in, filled_anew, in_form
from pipeline.deliver.web.structured_data import script_json

WORDS = st.text(st.characters(exclude_categories=["Cs"]), min_size=1) | st.text("<>&'\"\\/,;=+-@ \r\n\ue000\ue001ab1")


def as_html(text: str) -> str:
    return f"<p>{escape(printable(text))}</p>"


def as_script(text: str) -> str:
    return f"<script>{script_json({'caption': printable(text)})}</script>"


def as_shown_script(text: str) -> str:
    return f"<textarea>{escape(script_json({'caption': printable(text)}))}</textarea>"


def as_row(text: str) -> str:
    row = io.StringIO(newline="")
    csv.writer(row, lineterminator="\r\n").writerow(["first", cell_text(text), "last"])
    return row.getvalue()


PAGES = {"html": as_html, "script": as_script, "shown script": as_shown_script, "cell": as_row}


@pytest.mark.parametrize("form", PAGES)
@given(text=WORDS, other=WORDS)
def test_a_page_with_marks_is_filled_as_it_is_written(form: str, text: str, other: str) -> None:
    write, marks = PAGES[form], Marks()
    marked = write(marks.mark("a")) + write("between") + write(marks.mark("b"))
    page, holes = marks.filled(marked.encode(), {"a": text, "b": other}.__getitem__)
    assert page.decode() == write(text) + write("between") + write(other)
    assert [(in_it, name) for _, _, in_it, name in holes] == [(form, "a"), (form, "b")]
    assert [page[begin:end].decode() for begin, end, _, _ in holes] == [in_form(form, text), in_form(form, other)]


@given(texts=st.lists(WORDS, min_size=3, max_size=3), new=WORDS)
def test_holes_are_filled_anew_as_if_it_were_the_first_time(texts: list[str], new: str) -> None:
    marks = Marks()
    first, second, third = map(marks.mark, "012")
    marked = f"{as_html(first)}{as_html(second)}{as_script(first)}{as_row(third)}".encode()
    before, holes = marks.filled(marked, lambda name: texts[int(name)])
    after, moved = filled_anew(before, holes, {"0": new})
    assert (after, moved) == marks.filled(marked, lambda name: [new, *texts[1:]][int(name)])
    assert filled_anew(after, moved, {"0": texts[0]}) == (before, holes)
    assert filled_anew(after, moved, {}) == (after, moved)
    assert are_in({"0": ""}, holes)
    assert not are_in({"3": ""}, holes)


def test_what_another_wrote_in_the_shape_of_a_mark_is_left_alone() -> None:
    marks = Marks()
    stranger = Marks().mark("a")
    page, holes = marks.filled(f"{marks.mark('a')} {stranger} \ue000<0>\ue001".encode(), lambda _: "words")
    assert page.decode() == f"words {stranger} \ue000<0>\ue001"
    assert holes == ((0, 5, "cell", "a"),)


def test_a_browser_reads_the_words_that_were_written() -> None:
    words = 'it\'s <b>"1 > 0"</b> & \\u003c</script>'
    assert html.unescape(in_form("html", words)) == words
    assert json.loads(f'"{in_form("script", words)}"') == words
    assert "<" not in in_form("script", words)
    assert json.loads(f'"{html.unescape(in_form("shown script", words))}"') == words
