"""What is counted of an export, and how it is said."""

from __future__ import annotations

from dataclasses import astuple, dataclass

from pipeline.faults import counted


@dataclass(frozen=True, slots=True)
class Counts:
    """Files and what there is to say of them, counted."""

    rendered: int = 0
    rewritten: int = 0
    kept: int = 0
    cautions: int = 0
    faults: int = 0

    def __add__(self, other: Counts) -> Counts:
        """Return the counts of both."""
        return Counts(*(mine + its for mine, its in zip(astuple(self), astuple(other), strict=True)))

    def in_words(self) -> str:
        """Return what is worth saying: "3 files rendered, 4 unchanged"."""
        parts = [f"{counted(self.rendered, 'file')} rendered", f"{self.kept} unchanged"]
        if self.rewritten:
            parts.insert(1, f"{self.rewritten} with new metadata only")
        if self.cautions:
            parts.append(f"{counted(self.cautions, 'caution')} (see the plan or the contact sheet)")
        if self.faults:
            parts.append(f"{counted(self.faults, 'fault')}, told below")
        return ", ".join(parts)
