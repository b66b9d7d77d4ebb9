"""What is known of a review at the moment a contact sheet is written. Values only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.light.box import Size

Verdict = Literal["approve", "change", "leave-out"]


@dataclass(frozen=True, slots=True)
class Spot:
    """A place that a reviewer drew: a point (two numbers) or a box (left, top, right, bottom), as fractions 0..1."""

    at: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Before:
    """An earlier print: its path below the output folder and its size in pixels."""

    path: str
    size: Size


@dataclass(frozen=True, slots=True)
class Standing:
    """What one reviewer last said of a frame or a rendition, and whether it still holds.

    `stands` is True where the pictures that were judged are the pictures of this round. `before` is the print that
    was judged, where it is another than this round's and is still kept.
    """

    verdict: Verdict
    note: str
    spots: tuple[Spot, ...]
    reviewer: str
    date: str
    round_number: int
    stands: bool
    before: Before | None = None


@dataclass(frozen=True, slots=True)
class Review:
    """One round: its id and number, whose outlet it shows (None: hers, all of them), and what was said before.

    `keys` are the picture keys of this round by rendition name (`frame/outlet/target`); `standings` what was said
    before, by frame slug or by rendition name, one a reviewer, newest first.
    """

    round_id: str
    number: int
    outlet: str | None
    keys: Mapping[str, str]
    standings: Mapping[str, tuple[Standing, ...]] = field(default_factory=dict)
