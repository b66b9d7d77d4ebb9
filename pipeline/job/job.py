"""The job as a checked whole: what `read_job` returns and everything later works from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from pipeline.light.box import Point, Region
from pipeline.light.thresholds import Thresholds, house_thresholds

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.job.model import Credit, FrameEntry, PairEntry, Shoot, Site, Sponsor
    from pipeline.job.target import Target

Anchor = Literal["thirds", "centre"]

MIDDLE = Point(0.5, 0.5)


@dataclass(frozen=True, slots=True)
class Request:
    """One target asked of one frame, with the frame's own hand already applied.

    `anchor_by_hand` says whether the job gives this frame's anchor itself, over the profile's.
    """

    outlet: str
    name: str
    target: Target
    name_template: str
    subject: Point
    keep: Region | None
    anchor: Anchor | Point
    anchor_by_hand: bool


@dataclass(frozen=True, slots=True)
class AskedFrame:
    """One frame of the job: its entry, its file on disk, its slug, and the targets asked of it in order.

    `number` is its place in the job file, from 1.
    """

    entry: FrameEntry
    path: Path
    number: int
    slug: str
    requests: tuple[Request, ...]

    @property
    def to_find(self) -> bool:
        """Return whether the job leaves the subject to be found ("auto")."""
        return self.entry.subject == "auto"

    @property
    def subject(self) -> Point:
        """Return the subject; the middle of the frame as long as it is still to be found."""
        return MIDDLE if self.entry.subject == "auto" else Point(*self.entry.subject)

    @property
    def keep(self) -> Region | None:
        """Return the keep box, None where the job gives none."""
        return Region(*self.entry.keep) if self.entry.keep else None

    @property
    def place(self) -> str:
        """Return the frame's place in the job file, as faults write it."""
        return f"frames[{self.number}] {self.entry.file}"


@dataclass(frozen=True, slots=True)
class AskedPair:
    """Two frames asked for in one picture: its entry, its slug, and for each target what is asked of either frame.

    `number` is its place in the job file, from 1.
    """

    entry: PairEntry
    number: int
    slug: str
    first: AskedFrame
    second: AskedFrame
    requests: tuple[tuple[Request, Request], ...]


@dataclass(frozen=True, slots=True)
class Job:
    """A job file that was found whole. `beside` are the files it draws on: the table of captions, own profiles.

    `profiles_folder` is the folder of those profiles, where a new one counts too.
    `icc_profiles` are those that the job names for its targets' colours, by name; `thresholds` are what its frames are
    inspected by, the house's with the job's changes.
    """

    file: Path
    shoot: Shoot
    slug: str
    site: Site
    credit: Credit
    sponsor: Sponsor | None
    pixel_limit: int
    frames: tuple[AskedFrame, ...]
    beside: tuple[Path, ...] = ()
    pairs: tuple[AskedPair, ...] = ()
    icc_profiles: tuple[tuple[str, bytes], ...] = ()
    thresholds: Thresholds = field(default_factory=house_thresholds)
    profiles_folder: Path | None = None
