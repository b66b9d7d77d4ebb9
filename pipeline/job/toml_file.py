"""Read a TOML file of hers, whatever it holds: its tables, or the one fault that stops reading it."""

from __future__ import annotations

import re
import stat
import tomllib
from typing import TYPE_CHECKING, Any

from pipeline.faults import Fault
from pipeline.job.explain import place
from pipeline.job.limits import LONGEST_FILE

if TYPE_CHECKING:
    from pathlib import Path

DEEPEST = 24  # tables in tables; the deepest key of a job is six down
LARGEST_INTEGER = 2**63 - 1  # TOML 1.0: "64-bit signed integers should be accepted"
PLAIN_WORDS = (  # for what is mistyped most, by how tomllib's sentence begins
    ("Cannot declare", "this table is there already"),
    ("Cannot overwrite", "this key is there already"),
    ("Expected '=' after", "there is no = after the key"),
    ("Illegal character '\\n'", "the quotes are not closed"),
    ("Invalid value", "it is no text in straight quotes, no number, date, list or table"),
)
PLACE = re.compile(r"(?s)(.*) \(at (?:line (\d+), column \d+|end of document)\)")


def read_tables(path: Path, shown: str) -> dict[str, Any] | Fault:
    """Return the tables of a TOML file, or a fault. `shown` is the file's name as she wrote it."""
    try:
        kind = path.stat().st_mode
        if stat.S_ISDIR(kind):
            return Fault(shown, "this is a folder", "name the file itself, such as job.toml in it")
        if not stat.S_ISREG(kind):
            return Fault(shown, "this is a device or a pipe, not a file", "name a TOML file")
        with path.open("rb") as stream:
            text = stream.read(LONGEST_FILE + 1)
    except FileNotFoundError:
        return Fault(shown, "there is no such file", "name a TOML file that is there")
    except (OSError, ValueError) as error:  # a ValueError where the name itself holds a NUL
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return Fault(shown, f"it cannot be read ({reason.lower()})", "check its name, its place and its permissions")
    if len(text) > LONGEST_FILE:
        return Fault(shown, f"it is larger than {LONGEST_FILE // 1_000_000} MB", "name a TOML file: a short text")
    return parse_tables(text, shown)


def parse_tables(data: bytes, shown: str) -> dict[str, Any] | Fault:
    """Return the tables that TOML text holds, or a fault."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return Fault(shown, "it is not text in UTF-8", "save it as UTF-8 text, or name another file", f"line {line}")
    too_deep = Fault(shown, f"its tables are nested more than {DEEPEST} deep", "write it flat, as the examples are")
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return _not_toml(str(error), text, shown)
    except ValueError:  # a whole number of more digits than Python reads
        return Fault(shown, "it holds a number of thousands of digits", "shorten that number")
    except RecursionError:
        return too_deep
    if deeper_than(DEEPEST, tables):
        return too_deep
    return _too_large(tables, shown) or tables


def _not_toml(message: str, text: str, shown: str) -> Fault:
    """Return the fault for text that is no TOML, with the line it stands in."""
    found = PLACE.fullmatch(message)
    reason, number = (found[1], found[2]) if found else (message, None)
    plain = next((words for start, words in PLAIN_WORDS if reason.startswith(start)), None)
    plain = plain or reason[:1].lower() + reason[1:]
    if number is None and not reason.startswith("Cannot"):
        return Fault(shown, "it ends in the middle of a value", "close what was opened last", "end of the file")
    line = int(number) if number else text.rstrip().count("\n") + 1
    found_there = text.split("\n")[line - 1].strip()[:60]
    return Fault(shown, f"found {found_there}", f"this is not TOML ({plain}); mend this line", f"line {line}")


def _too_large(tables: dict[str, Any], shown: str) -> Fault | None:
    """Return a fault where a whole number is larger than TOML allows."""
    waiting: list[tuple[tuple[str | int, ...], Any]] = [((), tables)]
    while waiting:
        location, value = waiting.pop()
        if isinstance(value, int) and abs(value) > LARGEST_INTEGER:
            found = "found a whole number of more than 18 digits"
            return Fault(shown, found, "write a smaller one", place(location, tables))
        if isinstance(value, dict):
            waiting.extend(((*location, key), inner) for key, inner in value.items())
        elif isinstance(value, list):
            waiting.extend(((*location, number), inner) for number, inner in enumerate(value))
    return None


def deeper_than(levels: int, tables: object) -> bool:
    """Return whether tables and lists are nested more than `levels` deep; walks level by level, never recursing."""
    level: list[Any] = [tables]
    for _ in range(levels):
        level = [
            inner
            for value in level
            if isinstance(value, dict | list)
            for inner in (value.values() if isinstance(value, dict) else value)
        ]
    return any(isinstance(value, dict | list) for value in level)
