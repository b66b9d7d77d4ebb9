"""One way to say what is wrong: which file, where in it, what was found, what would be right.

Lowest layer of all: every room reports with it, none needs another room to do so.
"""

from __future__ import annotations

import os
import unicodedata
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_JOINERS = "\u200c\u200d"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong, as data; the sentence is made last.

    `file` is the name as the person wrote it, `where` the place inside it (may be empty),
    `found` and `wanted` are half-sentences, `nearest` is the valid name closest to what was found.
    """

    file: str
    found: str
    wanted: str
    where: str = ""
    nearest: str | None = None

    def __str__(self) -> str:
        """Return the one clear sentence, on one line; what cannot be seen (a line feed, an escape) is spelled out."""
        place = f"{self.file}: {self.where}: " if self.where else f"{self.file}: "
        hint = f"; did you mean '{self.nearest}'?" if self.nearest else ""
        sentence = f"{place}{self.found}; {self.wanted}{hint}"
        return "".join(letter if letter.isprintable() else _spelled(letter) for letter in sentence)


def printable_line(text: str) -> str:
    """Return somebody's words as one line for a terminal, where they act on nothing.

    What cannot be seen is spelled out. Other spaces become plain ones; the two joiners stay: some scripts and small
    pictures are written with them.
    """
    return "".join(
        letter
        if letter.isprintable() or letter in _JOINERS
        else " "
        if unicodedata.category(letter) == "Zs"
        else _spelled(letter)
        for letter in text
    )


def counted(number: int, noun: str) -> str:
    """Return a number of things in words: "1 file", "2 files"."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def stopped_by(error: OSError) -> Fault:
    """Return what stopped a run in the middle: a full disk, a folder that went away."""
    place = os.fsdecode(error.filename) if isinstance(error.filename, str | bytes) else "the output"
    wanted = "mend that and run it again: what was finished is kept"
    return Fault(place, f"the run stopped here ({(error.strerror or str(error)).lower()})", wanted)


def of_job(fault: Fault, job: Path) -> Fault:
    """Return a fault that says of which of several jobs it is."""
    if fault.file == job.name:
        return replace(fault, file=str(job))
    if fault.file.startswith((f"{job.parent}{os.sep}", os.sep)):
        return fault  # it is named whole
    return replace(fault, file=f"{job}: {fault.file}")


def _spelled(letter: str) -> str:
    return letter.encode("unicode_escape").decode("ascii")


class RequestRefused(Exception):  # noqa: N818 (it is what happened, not an error class of a library)
    """The request itself is wrong: all faults of it at once; nothing was written (exit 2)."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__("\n".join(str(fault) for fault in faults))
        self.faults = faults


class FrameUnreadable(Exception):  # noqa: N818 (as above)
    """One frame cannot be read; the others go on (exit 1)."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(str(fault))
        self.fault = fault

    def __reduce__(self) -> tuple[type[FrameUnreadable], tuple[Fault]]:
        """Let the exception travel between worker processes whole."""
        return (FrameUnreadable, (self.fault,))
