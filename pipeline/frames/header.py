"""What a frame's header says, without decoding a pixel."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from pipeline.frames.words import Stated

if TYPE_CHECKING:
    from fractions import Fraction
    from pathlib import Path

    from pipeline.light.box import Size

FrameFormat = Literal["jpeg", "tiff", "png", "webp", "avif", "heic", "raw"]


@dataclass(frozen=True, slots=True)
class CameraFacts:
    """How the frame was taken, as far as its Exif says; None where it does not.

    `taken` is ISO 8601, local time with offset where the file has one ("2026-09-12T10:24:31+02:00").
    `focal_35_mm` is the focal length that sees as much on a sensor of 36 x 24 mm; `distance_m` is what was focused on.
    `position` and `serials` only say that such private facts are there; their values are never kept.
    """

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    exposure_s: Fraction | None = None
    f_number: Fraction | None = None
    iso: int | None = None
    focal_mm: Fraction | None = None
    taken: str | None = None
    position: bool = False
    serials: bool = False
    focal_35_mm: int | None = None
    distance_m: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Header:
    """One frame as its header describes it.

    `size` is upright (after `orientation` is applied); `orientation` is what the decoded pixels still
    need, Exif 1..8 (1 where the container or the raw developer turns them itself).
    `bands` counts stored channels with alpha; `bits` is per channel; `icc_profile` is None for untagged.
    `stated` is what the frame, or a sidecar beside it, says of the picture.
    """

    path: Path
    format: FrameFormat
    size: Size
    orientation: int
    bands: int
    bits: int
    alpha: bool
    icc_profile: bytes | None
    camera: CameraFacts = field(default_factory=CameraFacts)
    stated: Stated = field(default_factory=Stated)
