"""The plan: every rendition, worked out from headers before a pixel is touched."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Literal

from pipeline.job.url import is_url

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.frames.header import Header
    from pipeline.light.box import Box, Point, Region, Size
    from pipeline.light.two_up import Layout
    from pipeline.plan.facts import PictureFacts, Policy

OutputFormat = Literal["jpeg", "png", "webp", "tiff", "avif"]
Intent = Literal["relative", "perceptual"]
Gamut = Literal["clip", "soft"]
JpegTables = Literal["fitted", "standard"]
Reached = Literal["crossing", "line", "point", "no"]


def shown_name(file: str) -> str:
    """Return a file as it may be shown to others: its last part alone where it stands with its whole path."""
    return PurePath(file).name if os.path.isabs(file) or is_url(file) else file  # noqa: PTH117 (asked for often)


@dataclass(frozen=True, slots=True)
class Crop:
    """Where a rendition is cut from its upright frame.

    `box` is in whole source pixels and holds the bleed where there is one. `subject_at` is where the
    subject lands, as fractions of the trim (the box without its bleed; may lie outside 0..1).
    `reached` says which anchor the subject stands on within half a source pixel ("point" for `centre`
    and `[x, y]` anchors). `kept` is the share (0..1) of the frame's pixels inside the box, `keep_lost`
    the share of the keep box's area outside the part that stays visible. The frame is turned by `turn_deg` about its
    centre first (clockwise); `box` and shares are then those of the turned frame (`light.turn.Turn`).
    """

    box: Box
    subject_at: Point
    reached: Reached
    kept: float
    keep_lost: float
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class PixelSettings:
    """Everything of a target, beside box and size, that changes pixels.

    `sharpen_radius_px` is half the full width of a halo on paper, in output pixels, 0 on a screen, where the reduction
    decides; `sharpen_amount` 0..2, `halo_limit` the overshoot allowed as a share of the range around an edge. `mark` is
    the text laid across a proof, or None. `quality` is by format, 1..100. `colour` is one of our own spaces, or the
    job's name for `icc_profile`, which is then converted into by `intent`. `gamut` says what becomes of colours
    outside; `ink_limit` is in per cent (100..400), CMYK alone. `bytes_max` is the most that a whole file may take,
    `fidelity` (0..100) the least that its picture may score; with either of them quality is found instead of given.
    `progressive` and `jpeg_tables` (Huffman tables fitted to the picture, or those of the standard) are of JPEG.
    """

    sharpen_radius_px: float
    sharpen_amount: float
    halo_limit: float
    colour: str
    mark: str | None
    quality: tuple[tuple[OutputFormat, int], ...]
    intent: Intent = "relative"
    gamut: Gamut = "clip"
    icc_profile: bytes | None = None
    ink_limit: float | None = None
    bytes_max: int | None = None
    fidelity: float | None = None
    progressive: bool = True
    jpeg_tables: JpegTables = "fitted"

    @property
    def finds_quality(self) -> bool:
        """Return whether quality is found, by a limit of bytes or a floor of fidelity, instead of given."""
        return self.bytes_max is not None or self.fidelity is not None

    @property
    def channels(self) -> int:
        """Return how many channels the pixels have: 1 for grey, 3, or 4 for CMYK."""
        if self.icc_profile is not None:
            return {b"GRAY": 1, b"CMYK": 4}.get(self.icc_profile[16:20], 3)
        return 1 if self.colour == "grey" else 3

    @property
    def shows_on_screens(self) -> bool:
        """Return whether files of it can be shown in a browser as they are: those of our own RGB spaces."""
        return self.icc_profile is None and self.colour != "grey"


@dataclass(frozen=True, slots=True)
class Output:
    """One file: its size in pixels, its format, and its place below the output folder (posix)."""

    size: Size
    format: OutputFormat
    path: str
    ppi: float


@dataclass(frozen=True, slots=True)
class Beside:
    """The second frame of a rendition that shows two: which it is, and where it is cut from its upright frame.

    `gap_px` lies between the two where the whole picture is of the size `whole`; it shrinks with the picture.
    """

    frame: str
    file: str
    header: Header
    crop: Crop
    layout: Layout
    gap_px: int
    whole: Size

    @property
    def shown_file(self) -> str:
        """Return its file as pages and records name it."""
        return shown_name(self.file)


@dataclass(frozen=True, slots=True)
class Approval:
    """One reviewer's "Approve" of exactly this picture: who, the date of the reply (ISO 8601), the id of its round."""

    reviewer: str
    date: str
    round_id: str


@dataclass(frozen=True, slots=True)
class Rendition:
    """One frame made for one target.

    `safe_free` are the parts of the trim nothing will cover, as fractions of the trim; `trim` is the
    trim inside the box, as fractions of the box. `effective_ppi` is source pixels per inch of paper
    (None off paper). `refused` is the sentence that says why nothing is made (then `outputs` is empty).
    `preview` is the small JPEG for the contact sheet. `beside` is the second frame of a two-up; `crop` is then the
    first frame's. `round_shape` says that the trim is seen as a circle. `small` is a smaller preview, for a long sheet
    on a small screen; `full` a JPEG at the size of the largest output, where no browser shows the outputs themselves.
    `needs_approval` says that it is made only once approved; `approvals` is who approved it, () where nobody did or
    reviewers disagree.
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
    beside: Beside | None = None
    round_shape: bool = False
    small: Output | None = None
    full: Output | None = None
    needs_approval: bool = False
    approvals: tuple[Approval, ...] = ()

    @property
    def waits(self) -> bool:
        """Return whether it is not made for want of an approval."""
        return self.needs_approval and not self.approvals and self.refused is None

    @property
    def approval_words(self) -> str | None:
        """Return what stands about its approval; None where it needs none and has none."""
        if self.approvals:
            return f"approved by {' and '.join(f'{one.reviewer} ({one.date})' for one in self.approvals)}"
        return "waits for approval" if self.waits else None

    @property
    def sheet_outputs(self) -> tuple[Output, ...]:
        """Return the JPEGs that are made of it for the contact sheet alone."""
        return tuple(one for one in (self.preview, self.small, self.full) if one)

    @property
    def name(self) -> str:
        """Return `frame/outlet/target`, as --only and the reports write it."""
        return f"{self.frame}/{self.outlet}/{self.target}"


@dataclass(frozen=True, slots=True)
class PlannedFrame:
    """A frame of the plan: its header, its facts, its whole-frame picture for the sheet.

    `origins` gives for each fact that is stated where its words came from ("job", "IIM of the frame"); `notes` are
    what the photographer may want to know and need not act on; `inspected` says whether the frame was looked at, so
    that what is not said of it was not found.
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
    inspected: bool = False

    @property
    def shown_file(self) -> str:
        """Return the frame's file as pages and records name it: never with the folders of somebody's machine."""
        return shown_name(self.file)


@dataclass(frozen=True, slots=True)
class Plan:
    """All renditions of a job, frame by frame in the order of the job file.

    `content_width` is the width of the site's text column in CSS pixels. `post_url` is the address of the post,
    `pictures_url` the address of the folder that the output folder is put to; None where the job does not say.
    `sponsor` is who paid, `disclosure` the words that say so.
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
    disclosure: str | None = None

    @property
    def renditions(self) -> tuple[Rendition, ...]:
        """Return every rendition that will be made or is refused, in order."""
        return tuple(rendition for frame in self.frames for rendition in frame.renditions)
