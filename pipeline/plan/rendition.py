"""The plan: every rendition, worked out from headers before a pixel is touched."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import Header
    from pipeline.light.box import Box, Point, Region, Size
    from pipeline.plan.facts import PictureFacts, Policy

OutputFormat = Literal["jpeg", "png", "webp", "tiff", "avif"]
Reached = Literal["crossing", "line", "point", "no"]


@dataclass(frozen=True, slots=True)
class Crop:
    """Where a rendition is cut from its upright frame.

    `box` is in whole source pixels and holds the bleed where there is one. `subject_at` is where the
    subject lands, as fractions of the trim (the box without its bleed; may lie outside 0..1).
    `reached` says which anchor the subject stands on within half a source pixel ("point" for `centre`
    and `[x, y]` anchors). `kept` is the share (0..1) of the frame's pixels inside the box, `keep_lost`
    the share of the keep box's area outside the part that stays visible.
    """

    box: Box
    subject_at: Point
    reached: Reached
    kept: float
    keep_lost: float


@dataclass(frozen=True, slots=True)
class PixelSettings:
    """Everything of a target, beside box and size, that changes pixels.

    `sharpen_radius_px` is the Gaussian sigma in output pixels, `sharpen_amount` 0..2, `halo_limit` the
    overshoot allowed as a share of an edge's step. `mark` is the text laid across a proof, or None.
    `quality` is by format, 1..100.
    """

    sharpen_radius_px: float
    sharpen_amount: float
    halo_limit: float
    colour: str
    mark: str | None
    quality: tuple[tuple[OutputFormat, int], ...]


@dataclass(frozen=True, slots=True)
class Output:
    """One file: its size in pixels, its format, and its place below the output folder (posix)."""

    size: Size
    format: OutputFormat
    path: str
    ppi: float


@dataclass(frozen=True, slots=True)
class Rendition:
    """One frame made for one target.

    `safe_free` are the parts of the trim nothing will cover, as fractions of the trim; `trim` is the
    trim inside the box, as fractions of the box. `effective_ppi` is source pixels per inch of paper
    (None off paper). `refused` is the sentence that says why nothing is made (then `outputs` is empty).
    `preview` is the small JPEG for the contact sheet.
    """

    frame: str
    outlet: str
    target: str
    about: str
    crop: Crop
    trim: Region
    free: tuple[Region, ...]
    settings: PixelSettings
    policy: Policy
    facts: PictureFacts
    outputs: tuple[Output, ...]
    preview: Output | None
    effective_ppi: float | None
    cautions: tuple[str, ...]
    refused: str | None

    @property
    def name(self) -> str:
        """Return `frame/outlet/target`, as --only and the reports write it."""
        return f"{self.frame}/{self.outlet}/{self.target}"


@dataclass(frozen=True, slots=True)
class PlannedFrame:
    """A frame of the plan: its header, its facts, its whole-frame picture for the sheet.

    `origins` gives for each fact that is stated where its words came from ("job", "IIM of the frame"); `notes` are
    what the photographer may want to know and need not act on.
    """

    slug: str
    file: str
    path: Path
    header: Header
    view: str | None
    subject: Point
    keep: Region | None
    step: int | None
    facts: PictureFacts
    whole: Rendition
    renditions: tuple[Rendition, ...]
    cautions: tuple[str, ...]
    origins: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def shown_file(self) -> str:
        """Return the frame's file as pages and records name it: never with the folders of somebody's machine."""
        return PurePath(self.file).name if PurePath(self.file).is_absolute() else self.file


@dataclass(frozen=True, slots=True)
class Plan:
    """All renditions of a job, frame by frame in the order of the job file.

    `content_width` is the width of the site's text column in CSS pixels. `post_url` is the address of the post,
    `pictures_url` the address of the folder that the output folder is put to; None where the job does not say.
    """

    job: Path
    title: str
    slug: str
    date: str | None
    language: str
    credit_line: str | None
    frames: tuple[PlannedFrame, ...]
    content_width: int = 720
    post_url: str | None = None
    pictures_url: str | None = None
    sponsor: str | None = None

    @property
    def renditions(self) -> tuple[Rendition, ...]:
        """Return every rendition that will be made or is refused, in order."""
        return tuple(rendition for frame in self.frames for rendition in frame.renditions)
