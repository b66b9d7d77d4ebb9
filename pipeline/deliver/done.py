"""What came of one frame's work: what a worker answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.faults import Fault
    from pipeline.ledger.made import Made


@dataclass(frozen=True, slots=True)
class FrameDone:
    """What came of one frame: the files made, what failed on the way, what the decoder noted."""

    file: str
    made: tuple[Made, ...]
    faults: tuple[Fault, ...]
    notes: tuple[str, ...]
    rendered: int
    rewritten: int
