"""Words from a CSV table beside the job."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.faults import RequestRefused
from pipeline.job.read import read_job

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.job.job import Job

JOB = """
profiles = ["blog"]
captions = "captions.csv"
[shoot]
title = "Soup"
language = "en"
targets = ["blog/hero"]
[[frames]]
file = "selects/bowl.jpg"
slug = "bowl-from-above"
subject = [0.5, 0.5]
[[frames]]
file = "selects/bread.jpg"
subject = [0.5, 0.5]
keywords = ["bread"]
"""


def read(folder: Path, table: bytes | str | None, job: str = JOB) -> Job:
    (folder / "selects").mkdir(exist_ok=True)
    for name in ("bowl", "bread"):
        Image.new("RGB", (60, 40)).save(folder / "selects" / f"{name}.jpg")
    if table is not None:
        (folder / "captions.csv").write_bytes(table.encode() if isinstance(table, str) else table)
    (folder / "job.toml").write_text(job, encoding="utf-8")
    return read_job(folder / "job.toml")


def refused(folder: Path, table: bytes | str | None, job: str = JOB) -> list[str]:
    with pytest.raises(RequestRefused) as caught:
        read(folder, table, job)
    return [str(fault) for fault in caught.value.faults]


def test_a_row_by_file_or_by_slug_gives_its_frame_words(tmp_path: Path) -> None:
    bread_row, bowl_row = "selects/bread.jpg,,Flatbread,Tear it,crust; flour", ",bowl-from-above,A bowl,,"
    table = f"file,frame,alt,caption,keywords\n{bread_row}\n{bowl_row}\n"
    bowl, bread = read(tmp_path, table).frames
    assert (bowl.entry.alt, bowl.entry.caption) == ({"en": "A bowl"}, None)
    assert (bread.entry.alt, bread.entry.caption) == ({"en": "Flatbread"}, {"en": "Tear it"})
    assert bread.entry.keywords == ("bread", "crust", "flour")


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_spreadsheets_part_cells_in_their_own_ways(tmp_path: Path, delimiter: str) -> None:
    table = "\ufefffile,alt,alt.fr\r\nbowl.jpg,A bowl,Un bol\r\n".replace(",", delimiter)
    assert read(tmp_path, table).frames[0].entry.alt == {"en": "A bowl", "fr": "Un bol"}


def test_quoted_cells_hold_commas_quotes_and_lines(tmp_path: Path) -> None:
    table = 'file,caption\r\nbowl.jpg,"Hot, ""very"" hot\r\nand red"\r\n'
    assert read(tmp_path, table).frames[0].entry.caption == {"en": 'Hot, "very" hot\nand red'}


def test_a_guarded_cell_loses_its_guard(tmp_path: Path) -> None:
    assert read(tmp_path, "file,caption\nbowl.jpg,'=hot\n").frames[0].entry.caption == {"en": "=hot"}


def test_job_and_table_may_say_the_same_or_different_languages(tmp_path: Path) -> None:
    job = JOB.replace('slug = "bowl-from-above"', 'slug = "bowl-from-above"\nalt = "A bowl"')
    table = "frame,alt.en,alt.fr\nbowl-from-above,A bowl,Un bol\n"
    assert read(tmp_path, table, job).frames[0].entry.alt == {"en": "A bowl", "fr": "Un bol"}


def test_two_different_words_for_one_thing_are_not_settled_silently(tmp_path: Path) -> None:
    job = JOB.replace('slug = "bowl-from-above"', 'slug = "bowl-from-above"\nalt = "A bowl"')
    assert refused(tmp_path, "file,alt\nbowl.jpg,A dish\n", job) == [
        "captions.csv: row 2 selects/bowl.jpg: alt: the job file says something else; say it in one place"
    ]


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (None, "captions.csv: there is no such file; captions names a CSV table, seen from the job"),
        (b"file,alt\nbowl.jpg,caf\xe9\n", "captions.csv: byte 22 is not UTF-8; save the table as CSV with UTF-8 text"),
        ("", "captions.csv: row 1: no column is called 'file' or 'frame'; one of them says which frame a"),
        (
            "file,capton\nbowl.jpg,x\n",
            "captions.csv: row 1: no words go into a column called 'capton'; columns are file, frame, title, alt,",
        ),
        ("file,alt,alt\nbowl.jpg,a,b\n", "captions.csv: row 1: two columns are called 'alt'; each column"),
        (
            "file,alt\nbowls.jpg,a\n",
            "captions.csv: row 2: no frame of the job is 'bowls.jpg'; a row names a frame's file or slug",
        ),
        ("file,alt\n,a\n", "captions.csv: row 2: it names no frame; a row names a frame's file or slug"),
        (
            "file,frame,alt\nbowl.jpg,,a\n,bowl-from-above,b\n",
            "captions.csv: rows 2 and 3 are both about selects/bowl.jpg; keep one of them",
        ),
        (
            "file,caption\nbowl.jpg,a\x01b\n",
            'captions.csv: row 2 selects/bowl.jpg: caption: en: found "a\\u0001b"; it holds the control',
        ),
        (
            "file,alt\nbowl.jpg,A bowl, with soup\n",
            "captions.csv: row 2: it has 3 cells, and the first row names 2 columns; put a text that holds a comma",
        ),
        ('file,alt\nbowl.jpg,"open\n', "captions.csv: it is not a CSV table (unexpected end of data); save it as CSV"),
    ],
)  # fmt: skip
def test_each_fault_of_a_table_gets_a_sentence(tmp_path: Path, table: bytes | str | None, said: str) -> None:
    (only,) = refused(tmp_path, table)
    assert only.startswith(said)


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "captions.csv")
    assert refused(tmp_path, None) == [
        "captions.csv: this is no file; captions names a CSV table, seen from the job file's folder"
    ]


def test_columns_may_be_capitalised(tmp_path: Path) -> None:
    assert read(tmp_path, "File,Alt,Alt.fr\nbowl.jpg,A bowl,Un bol\n").frames[0].entry.alt == {
        "en": "A bowl",
        "fr": "Un bol",
    }
