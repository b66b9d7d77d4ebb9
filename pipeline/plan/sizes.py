"""How large each file of a rendition is: what the target asks for, and what the frame can give."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from pipeline.light.box import Size
from pipeline.light.ratio import height_at, parse_ratio
from pipeline.light.trim import ppi_of, size_px

if TYPE_CHECKING:
    from pipeline.job.target import Target
    from pipeline.light.box import Box


@dataclass(frozen=True, slots=True)
class Given:
    """The sizes a rendition is made at, small to large, and whether the frame fell short of the largest asked for."""

    sizes: tuple[Size, ...]
    short: bool


def _full_size(target: Target) -> Size | None:
    """Return the size in pixels, with bleed, of a target that fixes both sides; None where it gives a ratio."""
    if target.size_mm:
        return size_px(target.size_mm, target.ppi, target.bleed_mm)
    return Size(*target.size_px) if target.size_px else None


def outer_ratio(target: Target) -> Fraction:
    """Return width over height of the whole file, bleed included, exact."""
    full = _full_size(target)
    if full:
        return Fraction(full.width, full.height)
    return parse_ratio(target.ratio or "")


def given_sizes(target: Target, box: Box) -> Given:
    """Return the sizes to make from a box; nothing is ever upscaled.

    Every width above the box is dropped and the box's own width, made even, is added once.
    """
    full, ratio = _full_size(target), outer_ratio(target)
    asked = [full.width] if full else sorted(set(target.widths or ()))
    fitting = {width for width in asked if width <= box.width}
    short = len(fitting) < len(asked)
    if short:
        fitting.add(max(1, box.width - box.width % 2))
    return Given(tuple(Size(width, max(1, height_at(width, ratio))) for width in sorted(fitting)), short)


def effective_ppi(target: Target, box: Box) -> float | None:
    """Return source pixels per inch of paper, the smaller of both axes; None off paper."""
    if target.size_mm is None:
        return None
    bleed = 2 * target.bleed_mm
    return min(ppi_of(box.width, target.size_mm[0] + bleed), ppi_of(box.height, target.size_mm[1] + bleed))
