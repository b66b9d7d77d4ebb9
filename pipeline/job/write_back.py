"""A job file with what was found written into it: her own text, byte for byte, but for the places that say "auto".

Done by lines and then judged by the standard parser, because a writer that goes through a whole document may put tables
in another order ([[pairs]] between [[frames]], for one).
"""

from __future__ import annotations

import copy
import re
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.faults import Fault
from pipeline.job.explain import toml_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.light.box import Point, Region

BOM = "\ufeff"
_FRAMES = re.compile(r"\s*\[\[\s*frames\s*\]\]")
_TABLE = re.compile(r"\s*\[")
_AUTO = re.compile(
    r"""(?P<indent>\s*)(?P<key>subject|"subject"|'subject')(?P<sign>\s*=\s*)(?:"auto"|'auto')"""
    r"(?P<after>[ \t]*(?:\#[^\r\n]*)?)(?P<end>\r?\n?)",
)


@dataclass(frozen=True, slots=True)
class Found:
    """What to write at a frame that says "auto"; `keep` and `turn_deg` are None where the job has its own, or none."""

    subject: Point
    keep: Region | None = None
    turn_deg: float | None = None

    @property
    def values(self) -> dict[str, Any]:
        """Return them by key, as TOML has them."""
        values: dict[str, Any] = {"subject": [self.subject.x, self.subject.y]}
        if self.keep:
            values["keep"] = [self.keep.left, self.keep.top, self.keep.right, self.keep.bottom]
        if self.turn_deg is not None:
            values["turn_deg"] = self.turn_deg
        return values


def with_found(data: bytes, found: Mapping[int, Found], name: str) -> bytes | list[Fault]:
    """Return the bytes of a job file with what was found at some frames, by their number from 1; or what prevents it.

    `data` is a job file that was read whole. Whatever else it says stays as it is, comments and spaces too.
    """
    text = data.decode("utf-8")
    lines = re.findall(r"[^\n]*\n|[^\n]+", text)
    ending = "\r\n" if "\r\n" in text else "\n"
    heads = [at for at, line in enumerate(lines) if _FRAMES.match(line)]
    places = {number: _auto_line(lines, heads[number - 1]) for number in found if number <= len(heads)}
    for number, at in places.items():
        if at is not None:
            lines[at] = _written(lines[at], found[number], ending)
    new = "".join(lines)
    if _says(new, text, found):
        return new.encode()
    lost = [number for number in found if places.get(number) is None] or list(found)
    return [_fault(name, number, found[number]) for number in lost]


def _fault(name: str, number: int, found: Found) -> Fault:
    values = ", ".join(f"{key} = {toml_text(value)}" for key, value in found.values.items())
    said = "what was found cannot be written into it as it stands"
    return Fault(name, said, f"write it there yourself: {values}", f"frames[{number}]")


def _auto_line(lines: list[str], head: int) -> int | None:
    """Return which line of the table that begins at `head` leaves the subject to be found."""
    for at in range(head + 1, len(lines)):
        if _TABLE.match(lines[at]):
            return None
        if _AUTO.fullmatch(lines[at]):
            return at
    return None


def _written(line: str, found: Found, ending: str) -> str:
    match = _AUTO.fullmatch(line)
    if match is None:
        return line
    first, *others = found.values.items()
    written = f"{match['indent']}{match['key']}{match['sign']}{toml_text(first[1])}{match['after']}"
    added = [f"{match['indent']}{key} = {toml_text(value)}" for key, value in others]
    return ending.join([written, *added]) + match["end"]


def _says(new: str, old: str, found: Mapping[int, Found]) -> bool:
    """Return whether the new text says what the old one does and what was found, and nothing else."""
    wanted = copy.deepcopy(tomllib.loads(old.removeprefix(BOM)))
    for number, one in found.items():
        wanted["frames"][number - 1] |= one.values
    try:
        return tomllib.loads(new.removeprefix(BOM)) == wanted
    except tomllib.TOMLDecodeError:
        return False
