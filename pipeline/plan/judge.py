"""What to say of a rendition before it is made: why it is refused, and what deserves a second look."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.light.box import WHOLE
from pipeline.plan.crop import find_crop
from pipeline.plan.cut import crop_request
from pipeline.plan.lost import REMEDY, lost_share

if TYPE_CHECKING:
    from pipeline.job.job import Request
    from pipeline.job.target import Target
    from pipeline.light.box import Size
    from pipeline.plan.rendition import Crop
    from pipeline.plan.sizes import Given

MUCH_WIDER = 1.25  # from here on it is worth a word what a keep box costs


def refusal(target: Target, crop: Crop, short: bool, ppi: float | None) -> str | None:  # noqa: FBT001 (one of a pair with ppi)
    """Return why a target does not take such a crop, None where it does."""
    if target.too_small == "refuse":
        floor = target.ppi_floor
        if ppi is not None and floor is not None and ppi < floor:
            return f"too small: this crop gives {ppi:.0f} ppi on paper, and {floor:g} ppi is the least for this target"
        if short and (ppi is None or floor is None):
            return f"too small: this crop is {crop.box.width} px wide, less than the target asks for"
    if target.keep_miss == "refuse" and crop.keep_lost > 0:
        return f"no crop of this shape holds the keep box, {lost_share(crop.keep_lost)} of it would be lost: {REMEDY}"
    return None


def cautions(request: Request, frame: Size, crop: Crop, given: Given, ppi: float | None) -> list[str]:
    """Return what deserves a second look. `ppi` is that of the paper, None off paper."""
    target, found = request.target, []
    if crop.keep_lost > 0:
        found.append(f"{lost_share(crop.keep_lost)} of the keep box is cut off or covered: {REMEDY}")
    if crop.reached == "no" and request.anchor_by_hand:
        # A profile's anchor is a wish, weighed against the picture lost for it; this one the job asks for by name.
        found.append("anchor not reached: with the subject there, too much of the picture or the keep box is lost")
    if tight := _tightness(request, frame, crop):
        found.append(tight)
    if given.short and ppi is None:
        found.append(_shortness(target, crop, given))
    if ppi is not None and ppi < target.ppi:
        found.append(f"{ppi:.0f} ppi on paper, below the {target.ppi:g} ppi asked for")
    return found


def _shortness(target: Target, crop: Crop, given: Given) -> str:
    asked = (target.widths or (target.size_px or ())[:1]) or (0,)
    if len(set(asked)) == 1:
        return f"made {given.sizes[-1].width} px wide, {asked[0]} asked for: the crop has no more"
    return f"the crop is only {crop.box.width} px wide: larger sizes are left out"


def _tightness(request: Request, frame: Size, crop: Crop) -> str | None:
    """Return why a crop is much smaller than its shape alone would make it, None where it is not."""
    target, wanted = request.target, crop_request(request, frame)
    reasons = [f"also fits {' and '.join(target.also_seen)}"] if target.also_seen else []
    reasons += ["stays clear of what is covered"] if wanted.free != (WHOLE,) else []
    reasons += ["lies in the round"] if wanted.round_shape else []
    if not reasons or request.keep is None or crop.keep_lost > 0:
        return None
    free = find_crop(replace(wanted, also_seen=(), free=(WHOLE,), round_shape=False)).box.width
    if free < MUCH_WIDER * crop.box.width:
        return None
    return (
        f"a tight crop, {crop.box.width} px wide, so that the keep box {', '.join(reasons)}; "
        f"it could be {free} px without: {REMEDY}"
    )
