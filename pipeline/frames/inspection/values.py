"""What was found by looking at a frame: as data; the words for the cook are part of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pipeline.frames.inspection.likeness import Likeness
    from pipeline.light.box import Point, Region
    from pipeline.light.thresholds import Threshold

Level = Literal["fault", "note"]

COMMON_PRACTICE = "common practice, no source"
HOUSE_CHOICE = "house choice"


@dataclass(frozen=True, slots=True)
class Proposal:
    """A subject and a keep box, as fractions of the upright frame.

    `confidence` is 0..1: how much of the box stays where it is when the cues are taken away one by one, less where it
    hardly rises above the rest. Below the bound that the thresholds name, the person is asked to point instead.
    """

    subject: Point
    keep: Region
    confidence: float


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was seen in a frame, and what to do about it.

    A "fault" speaks against publishing the frame as it is, a "note" is worth knowing. `number` in `unit` was measured
    and held against `threshold`; None where nothing was. `says` and `advice` are sentences for the photographer;
    `source` is a standard, COMMON_PRACTICE or HOUSE_CHOICE. `where` is a place in the
    upright frame, None for all of it.
    """

    rule: str
    level: Level
    number: float | None
    unit: str
    threshold: float | None
    says: str
    advice: str
    source: str
    where: Region | None = None


@dataclass(frozen=True, slots=True)
class Inspection:
    """All that looking at one frame gave.

    `measures` are finite numbers by name; `proposal` is None where the person should point; `turn_deg` levels the
    frame, None where nothing says so; `likeness` is what it is compared with other frames by.
    """

    measures: tuple[tuple[str, float], ...]
    findings: tuple[Finding, ...]
    proposal: Proposal | None
    turn_deg: float | None
    likeness: Likeness | None = None


def judged(
    rule: str,
    level: Level,
    number: float,
    limit: Threshold,
    *,
    says: str,
    advice: str,
    where: Region | None = None,
) -> Finding:
    """Return a finding that holds a number against a threshold."""
    return Finding(rule, level, number, limit.unit, limit.value, says, advice, limit.source, where)
