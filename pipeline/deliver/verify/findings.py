"""What was found wrong with a file, as data; the sentence is made last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.faults import Fault

if TYPE_CHECKING:
    from pipeline.deliver.verify.expect import Container

Kind = Literal[
    "missing", "renamed", "extra", "unreadable", "format", "size", "pixels", "profile",
    "stripped", "field", "stale", "private", "foreign", "rewritten",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it was delivered.

    `file` is the path in the folder (of a missing file: its delivered path). `found` and `wanted` are half-sentences.
    A `field` is named by its fact, with the `container` that it stands in and, where one part of it differs (a
    language, a field of a structure), that `part`.
    """

    kind: Kind
    file: str
    found: str
    wanted: str
    field: str | None = None
    container: Container | None = None
    part: str | None = None
    where: str = ""

    def __str__(self) -> str:
        """Return the one sentence."""
        return str(Fault(self.file, self.found, self.wanted, self.where))


@dataclass(frozen=True, slots=True)
class Cell:
    """One field of one file in one container, and whether it is as delivered."""

    file: str
    field: str
    container: Container
    same: bool


@dataclass(frozen=True, slots=True)
class Report:
    """What came of a check. `files` are the delivered files that were read back; `well` counts those without a finding.

    `second_reader` says which other program was asked, or why none was. `elsewhere` counts the files that lie in other
    folders than they were delivered in, where that is no finding: in a folder that came back.
    """

    delivered: int
    files: tuple[str, ...]
    findings: tuple[Finding, ...]
    cells: tuple[Cell, ...]
    second_reader: str
    elsewhere: int = 0

    @property
    def well(self) -> int:
        """Return how many of the files that were read back are as delivered."""
        return len(set(self.files) - {finding.file for finding in self.findings})
