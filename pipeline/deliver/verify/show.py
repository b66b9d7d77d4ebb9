"""A report in words: sentences, the table of field by file, and JSON for programs."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from pipeline.deliver.verify.expect import FIELDS
from pipeline.faults import counted

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.verify.findings import Cell, Report

FORMAT = 1
_LETTERS = {"Exif": "E", "IIM": "I", "XMP": "X", "file": "F"}
_DIFFERS, _NO_PLACE = "!", "·"
_WIDTH = 100
_LEGEND = "E Exif, I IIM, X XMP, F the file's own header; ! differs from what was delivered, · has no such place"


def report_lines(report: Report, *, table: bool, quiet: bool) -> Iterator[str]:
    """Give every difference, then (unless `quiet`) the table of what differs, or of all fields, and what came of it."""
    yield from map(str, report.findings)
    if quiet:
        return
    rows = list(table_lines(report, whole=table))
    yield from ("", *rows, "") if rows else ()
    if report.elsewhere:
        yield f"{counted(report.elsewhere, 'file')} in other folders than delivered, which is no difference here"
    yield report.second_reader
    yield summary_line(report)


def table_lines(report: Report, *, whole: bool) -> Iterator[str]:
    """Give the table of field by file: a letter for each container that holds the field as delivered.

    Unless `whole`, only the fields and files that differ anywhere; not those of which nothing is left to compare.
    """
    cells: defaultdict[tuple[str, str], list[Cell]] = defaultdict(list)
    for cell in report.cells:
        cells[cell.field, cell.file].append(cell)
    left = {cell.file for cell in report.cells if cell.same}
    differ = [cell for cell in report.cells if whole or (not cell.same and cell.file in left)]
    fields = [field for field in FIELDS if field in {cell.field for cell in differ}]
    files = [file for file in report.files if file in {cell.file for cell in differ}]
    if not fields:
        return
    yield _LEGEND
    margin = max(len(FIELDS[field]) for field in fields)
    columns = max(1, (_WIDTH - margin) // (len(_LETTERS) + 1))
    for start in range(0, len(files), columns):
        block = files[start : start + columns]
        yield ""
        yield from (f"{number:4}  {_printable(file)}" for number, file in enumerate(block, start + 1))
        heads = " ".join(f"{number:<{len(_LETTERS)}}" for number, _ in enumerate(block, start + 1))
        yield f"{'':{margin}} {heads}".rstrip()
        for field in fields:
            row = " ".join(_letters(cells[field, file]) for file in block)
            if row.strip(f"{_NO_PLACE} "):
                yield f"{FIELDS[field]:{margin}} {row}"


def _letters(cells: list[Cell]) -> str:
    """Return one letter a container, in their order."""
    shown = dict.fromkeys(_LETTERS, _NO_PLACE)
    for container, letter in _LETTERS.items():
        states = [cell.same for cell in cells if cell.container == container]
        if states:
            shown[container] = letter if all(states) else _DIFFERS
    return "".join(shown.values())


def _printable(text: str) -> str:
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def summary_line(report: Report) -> str:
    """Return what came of it in one line."""
    wrong = {finding.file for finding in report.findings}
    files = counted(report.delivered, "delivered file")
    read = f"{report.well} of {files} {'is' if 1 in (report.well, report.delivered) else 'are'} as delivered"
    return f"{read}; {counted(len(report.findings), 'difference')} in {counted(len(wrong), 'file')}" if wrong else read


def report_json(report: Report) -> str:
    """Return the report for programs."""
    document: dict[str, Any] = {
        "verify": FORMAT,
        "delivered": report.delivered,
        "as_delivered": report.well,
        "elsewhere": report.elsewhere,
        "second_reader": report.second_reader,
        "findings": [
            {name: value for name, value in asdict(finding).items() if name != "where"} | {"sentence": str(finding)}
            for finding in report.findings
        ],
        "fields": [
            {"file": cell.file, "field": cell.field, "container": cell.container, "same": cell.same}
            for cell in report.cells
        ],
    }
    return json.dumps(document, indent=1)
