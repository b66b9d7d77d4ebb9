"""The pixels of two frames in one picture: each half goes the way of every picture; the gap between is white."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pyvips

from pipeline.light.spaces import PCS_WHITE
from pipeline.light.two_up import halves
from pipeline.render.colour import target_space
from pipeline.render.picture import Lit, finished, lit, spec_of

if TYPE_CHECKING:
    from pipeline.light.box import Size
    from pipeline.plan.rendition import Beside, Crop, PixelSettings
    from pipeline.render.output_profile import Space
    from pipeline.render.picture import Picture
    from pipeline.render.source import Source


def make_two_up(
    first: Source, second: Source, crop: Crop, beside: Beside, size: Size, settings: PixelSettings
) -> Picture:
    """Return the finished pixels of two frames at one size; `crop` is the first frame's.

    Both are sharpened before they are joined, so that no halo is drawn along the gap; a proof's mark goes across both.
    ValueError for a frame whose ICC profile cannot be read.
    """
    gap_px = round(beside.gap_px * size.width / beside.whole.width)
    places = halves(size, beside.layout, gap_px)
    made = [
        lit(source, spec_of(source, one.box, place.size, settings, one.turn_deg))
        for source, one, place in zip((first, second), (crop, beside.crop), places, strict=True)
    ]
    sheet = _paper(size, made[0].spec.space)
    for half, place in zip(made, places, strict=True):
        sheet = sheet.insert(half.image, place.left, place.top)
    share = sum(half.outside_gamut for half in made) / len(made)
    return finished(Lit(replace(made[0].spec, size=size), sheet, share))


def _paper(size: Size, space: Space) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return white in the target's linear light: that of the screen, or of the paper itself."""
    white = pyvips.Image.black(1, 1, bands=3).linear(1, list(PCS_WHITE)).cast("float")
    return target_space(space)(white).embed(0, 0, size.width, size.height, extend="copy")
