"""Where one frame is cut for one target, levelling included."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.light.box import WHOLE, Box
from pipeline.light.free import both_free, free_beside_corner, free_from_bands, free_in_margins
from pipeline.light.ratio import parse_ratio
from pipeline.light.trim import trim_region
from pipeline.plan.crop import CropRequest, find_crop
from pipeline.plan.level import turned_crop, turned_request
from pipeline.plan.rendition import Crop
from pipeline.plan.sizes import outer_ratio

if TYPE_CHECKING:
    from pipeline.job.job import Request
    from pipeline.job.target import Target
    from pipeline.light.box import Region, Size
    from pipeline.light.turn import Turn


def free_parts(target: Target) -> tuple[Region, ...]:
    """Return the parts of the trim that nothing will cover."""
    free: tuple[Region, ...] = (WHOLE,)
    if target.safe:
        safe = target.safe
        free = both_free(free, free_from_bands(safe.top, safe.bottom, safe.left, safe.right))
        if safe.corner and safe.width and safe.height:
            free = both_free(free, free_beside_corner(safe.corner, safe.width, safe.height))
    if target.safe_mm and target.size_mm:
        margins = free_in_margins(target.size_mm, target.safe_mm.outside, target.safe_mm.gutter, target.side)
        free = both_free(free, margins)
    return free


def trim_of(target: Target) -> Region:
    """Return the trim inside the whole file, as fractions of it."""
    return trim_region(target.size_mm, target.bleed_mm) if target.size_mm and target.bleed_mm else WHOLE


def crop_request(request: Request, frame: Size) -> CropRequest:
    """Return what the crop of one target has to satisfy in a frame of this size."""
    target = request.target
    return CropRequest(
        frame=frame,
        ratio=outer_ratio(target),
        trim=trim_of(target),
        subject=request.subject,
        keep=request.keep,
        free=free_parts(target),
        also_seen=tuple(parse_ratio(ratio) for ratio in target.also_seen),
        round_shape=target.shape == "round",
        anchor=request.anchor,
        reach=target.reach,
    )


def cut_for(request: Request, turn: Turn) -> tuple[Crop, str | None]:
    """Return the crop; where the frame is too small for any of the shape, the whole frame and why it is refused."""
    frame, turned = turn.size, turned_request(turn, request)
    try:
        return turned_crop(turn, find_crop(crop_request(turned, frame)), request.keep), None
    except ValueError as error:
        whole = Crop(Box(0, 0, frame.width, frame.height), turned.subject, "no", 1.0, 0.0, turn.degrees)
        return whole, f"too small: {error}"
