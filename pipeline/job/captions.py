"""Words of pictures from a CSV table beside the job: spreadsheets are where people write them.

A row is a frame, named by its file or its slug. A column is a kind of words, with a language where there are
several: `alt`, `alt.fr`, `caption`, `caption.fr`, `title`, `long_alt`, `headline`, `keywords` (parted by
semicolons). What a table and the job file both say must be the same; which one is right is not for us to guess.
"""

from __future__ import annotations

import csv
import stat
from dataclasses import dataclass, field
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.faults import Fault
from pipeline.job.caption_table import NAMES, TABLE_BYTES, cells_of, header_of, words_in
from pipeline.job.explain import explain, json_text, nearest
from pipeline.job.model import FrameEntry
from pipeline.job.words import LANGUAGE, slugify

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

BY_LANGUAGE = ("title", "alt", "caption", "long_alt")
PLAIN = ("headline", "keywords")
LEFT_ALONE = ("credit", "licence")  # what a table of ours also shows; the job says it in [credit]


@dataclass(slots=True)
class _Row:
    """One row: its number in the file, the frame it names, and what it says by key and language ("" for none)."""

    number: int
    file: str
    frame: str
    words: dict[tuple[str, str], str] = field(default_factory=dict)


def with_captions(
    job: Path, data: dict[str, Any], entries: list[tuple[int, FrameEntry]], faults: list[Fault]
) -> list[tuple[int, FrameEntry]]:
    """Return the frames with the words of the table that the job names; what is wrong with it is added to `faults`."""
    name = data.get("captions")
    if not isinstance(name, str) or not name.strip() or "\0" in name:
        return entries
    table = _Table(name, _language(data))
    rows = table.rows(job.parent / name)
    joined = [(number, table.joined(entry, rows)) for number, entry in entries]
    table.refuse_unused(rows, [entry for _, entry in entries])
    faults.extend(table.faults)
    return joined


def _language(data: dict[str, Any]) -> str:
    shoot = data.get("shoot")
    language = shoot.get("language", "en") if isinstance(shoot, dict) else "en"
    return language if isinstance(language, str) else "en"


class _Table:
    """A table being read: its name for the faults, the language of columns that name none, the faults so far."""

    def __init__(self, name: str, language: str) -> None:
        self.name, self.language = name, language
        self.faults: list[Fault] = []
        self._used: set[int] = set()

    def rows(self, path: Path) -> list[_Row]:
        """Return the rows of the file; () where it cannot be read."""
        try:
            facts = path.stat()
            if not stat.S_ISREG(facts.st_mode):
                self._fault("this is no file", "captions names a CSV table, seen from the job file's folder")
                return []
            if facts.st_size > TABLE_BYTES:
                self._fault("it is larger than 4 MB", "a table of captions is a short text; is this one?")
                return []
            text = path.read_bytes().decode("utf-8-sig")
        except FileNotFoundError:
            self._fault("there is no such file", "captions names a CSV table, seen from the job file's folder")
            return []
        except UnicodeDecodeError as error:
            wanted = "save the table as CSV with UTF-8 text (in a spreadsheet: CSV UTF-8)"
            self._fault(f"byte {error.start + 1} is not UTF-8", wanted)
            return []
        except OSError as error:
            self._fault(f"it cannot be read ({error.strerror})", "name a CSV table that can be read")
            return []
        try:
            cells = cells_of(text)
        except csv.Error as error:
            self._fault(f"it is not a CSV table ({error})", "save it as CSV from the spreadsheet")
            return []
        return self._parsed(cells)

    def _parsed(self, cells: list[list[str]]) -> list[_Row]:
        header = header_of(cells)
        columns = [self._column(name) for name in header]
        if not set(NAMES) & set(header):
            self._fault("no column is called 'file' or 'frame'", "one of them says which frame a row is about", "row 1")
            return []
        for name in sorted({name for name in header if name and header.count(name) > 1}):
            self._fault(f"two columns are called '{name}'", "each column says one thing", "row 1")
        found: list[_Row] = []
        for number, line in enumerate(cells[1:], start=2):
            if not any(cell.strip() for cell in line):
                continue
            if len(line) > len(header):
                found_cells = f"it has {len(line)} cells, and the first row names {len(header)} columns"
                self._fault(found_cells, "put a text that holds a comma between quotes", f"row {number}")
            row = _Row(number, "", "")
            for name, column, cell in zip(header, columns, line, strict=False):
                if name in NAMES:
                    setattr(row, name, cell.strip())
                elif column and cell.strip():
                    row.words[column] = words_in(cell)
            found.append(row)
        return found

    def _column(self, name: str) -> tuple[str, str] | None:
        """Return key and language of a column; None for one that is not read."""
        key, _, language = name.partition(".")
        if not name or name in (*NAMES, *LEFT_ALONE):
            return None
        if name in PLAIN:
            return name, ""
        if key in BY_LANGUAGE and (not language or LANGUAGE.fullmatch(language)):
            return key, language or self.language
        known = [*NAMES, *BY_LANGUAGE, *PLAIN]
        wanted = f"columns are {', '.join(known)}; with a language: alt.fr"
        self._fault(f"no words go into a column called '{name}'", wanted, "row 1", nearest(key, known))
        return None

    def joined(self, entry: FrameEntry, rows: Iterable[_Row]) -> FrameEntry:
        """Return a frame with what its row says."""
        mine = [row for row in rows if is_about(row.file, row.frame, entry)]
        self._used |= {row.number for row in mine}
        for row in mine[1:]:
            self._fault(f"rows {mine[0].number} and {row.number} are both about {entry.file}", "keep one of them")
        if not mine:
            return entry
        said = {key: getattr(entry, key) for key in (*BY_LANGUAGE, *PLAIN)}
        joined: dict[str, Any] = entry.model_dump(mode="json", exclude_unset=True)
        for (key, language), words in mine[0].words.items():
            where = f"row {mine[0].number} {entry.file}: {key}"
            if key == "keywords":
                joined[key] = [*said[key], *filter(None, map(str.strip, words.split(";")))]
            elif key == "headline":
                self._same(said[key], words, where)
                joined[key] = words
            else:
                by_language = _by_language(joined.get(key), self.language)
                self._same(by_language.get(language), words, where)
                joined[key] = {**by_language, language: words}
        try:
            return FrameEntry.model_validate_json(json_text(joined))
        except ValidationError as error:
            self.faults.extend(explain(error, FrameEntry, self.name, joined, f"row {mine[0].number} {entry.file}"))
            return entry

    def _same(self, said: str | None, words: str, where: str) -> None:
        if said and said != words:
            self._fault("the job file says something else", "say it in one place", where)

    def refuse_unused(self, rows: Iterable[_Row], entries: Sequence[FrameEntry]) -> None:
        """Add a fault for each row that is about no frame of the job."""
        known = [entry.file for entry in entries]
        for row in rows:
            if row.number not in self._used:
                name = row.file or row.frame
                found = f"no frame of the job is '{name}'" if name else "it names no frame"
                self._fault(found, "a row names a frame's file or slug", f"row {row.number}", nearest(name, known))

    def _fault(self, found: str, wanted: str, where: str = "", close: str | None = None) -> None:
        self.faults.append(Fault(self.name, found, wanted, where, close))


def is_about(file: str, frame: str, entry: FrameEntry) -> bool:
    """Return whether a row that names a file, or else a frame by its slug, is about an entry."""
    slug = slugify(entry.slug or PurePath(entry.file).stem)
    if file:
        return file == entry.file or PurePath(file).name == file == PurePath(entry.file).name
    return bool(frame) and slugify(frame) == slug


def _by_language(words: str | dict[str, str] | None, language: str) -> dict[str, str]:
    return {language: words} if isinstance(words, str) else dict(words or {})
