"""A job taken apart: its captions, and all the rest of it."""

from __future__ import annotations

import csv
import os
import stat
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.deliver.reworded.captions import captions_in
from pipeline.job.caption_table import NAMES, TABLE_BYTES, cells_of, header_of, words_in
from pipeline.job.limits import LONGEST_FILE
from pipeline.ledger.sealed import digest

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.recall import Question

Texts = dict[str, str]
Cells = list[list[str]]


@dataclass(frozen=True, slots=True)
class Apart:
    """The captions of a job, by the place where they stand ("frame 0", or "row 1" of its table) and by language.

    `secret` is a digest over all the rest, `files` are those that both were read from. `rows` gives of each row that
    has a caption the file and the slug that it names.
    """

    captions: dict[str, Texts]
    secret: bytes
    files: tuple[Path, ...]
    rows: dict[str, tuple[str, str]]


def apart(asked: Question) -> Apart | None:
    """Return the job of a question taken apart; None where it is none, or its table cannot be read."""
    if len(asked.data) > LONGEST_FILE:
        return None
    try:
        tables = tomllib.loads(asked.data.decode("utf-8-sig"))
    except (ValueError, RecursionError):  # told by whoever reads it in full
        return None
    if not isinstance(tables.get("frames"), list):
        return None
    captions = _taken_out_of(tables["frames"])
    files, cells = [asked.job], None
    rows: dict[str, tuple[str, str]] = {}
    if "captions" in tables:
        name, language = tables["captions"], _language(tables)
        cells = _cells(asked.job.parent / name) if isinstance(name, str) else None
        if cells is None:
            return None
        files.append(asked.job.parent / name)
        words, rows = _taken_out_of_table(cells, language)
        captions |= words
    rest = digest("reworded", os.path.abspath(asked.job), repr(tables), repr(cells))  # noqa: PTH100 (links stay)
    return Apart(captions, rest, tuple(files), rows)


def frame_place(number: int) -> str:
    """Return the place of a caption that the job file itself gives a frame, counted from 0."""
    return f"frame {number}"


def _taken_out_of(frames: list[Any]) -> dict[str, Texts]:
    """Return the captions of frames by their places, and leave in these what tells only that there are some."""
    found: dict[str, Texts] = {}
    for number, frame in enumerate(frames):
        caption = frame.get("caption") if isinstance(frame, dict) else None
        texts = captions_in(caption)
        if texts:
            found[frame_place(number)] = texts
            frame["caption"] = "" if isinstance(caption, str) else dict.fromkeys(texts, "")
    return found


def _taken_out_of_table(cells: Cells, language: str) -> tuple[dict[str, Texts], dict[str, tuple[str, str]]]:
    """Return captions by their places, and what their rows are about; leave in the cells that there are some."""
    header = header_of(cells)
    names = {number: name.partition(".") for number, name in enumerate(header)}
    columns = {number: tag or language for number, (key, _, tag) in names.items() if key == "caption"}
    found: dict[str, Texts] = {}
    rows: dict[str, tuple[str, str]] = {}
    for number, line in enumerate(cells[1:], start=1):
        here = {column: tag for column, tag in columns.items() if column < len(line) and line[column].strip()}
        texts = captions_in({tag: words_in(line[column]) for column, tag in here.items()})
        if texts:
            about = dict(zip(header, line, strict=False))
            found[f"row {number}"] = texts
            rows[f"row {number}"] = (about.get(NAMES[0], "").strip(), about.get(NAMES[1], "").strip())
            for column in here:
                line[column] = "caption"
    return found, rows


def _language(tables: dict[str, Any]) -> str:
    shoot = tables.get("shoot")
    language = shoot.get("language", "en") if isinstance(shoot, dict) else "en"
    return language if isinstance(language, str) else "en"


def _cells(place: Path) -> Cells | None:
    try:
        facts = place.stat()
        if not stat.S_ISREG(facts.st_mode) or facts.st_size > TABLE_BYTES:
            return None
        return cells_of(place.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, csv.Error):
        return None
