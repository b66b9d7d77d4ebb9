"""A CSV table of words as cells, before anything in it is judged; read without loading the job's model."""

from __future__ import annotations

import csv
import io

TABLE_BYTES = 4_000_000
NAMES = ("file", "frame")


def cells_of(text: str) -> list[list[str]]:
    """Return the cells of a table, row by row. Raises `csv.Error`."""
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True))


def header_of(cells: list[list[str]]) -> list[str]:
    """Return what the columns are called: keys in lower case, as spreadsheets like to capitalise them."""
    return [_lower_key(cell.strip()) for cell in cells[0]] if cells else []


def words_in(cell: str) -> str:
    """Return the words of a cell, without the apostrophe that keeps a spreadsheet from taking them for a formula."""
    cell = cell.strip().replace("\r\n", "\n")
    return cell[1:] if cell[:1] == "'" and cell[1:2] in {"=", "+", "-", "@"} else cell


def _lower_key(name: str) -> str:
    """Return a column's name with its key in lower case; a language stays as it is."""
    key, dot, language = name.partition(".")
    return key.lower() + dot + language


def _delimiter(text: str) -> str:
    """Return what parts the cells of the first line: a comma, or the semicolon or tab of some spreadsheets."""
    first = text.partition("\n")[0]
    return max(",;\t", key=first.count)
