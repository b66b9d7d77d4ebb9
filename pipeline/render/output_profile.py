"""What a target's pixels are encoded in: a space of our own, or what an ICC profile of the job's describes."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_output import GREY, OutputProfile, read_output_profile
from pipeline.light.spaces import RGB_TARGETS, RGBSpace

if TYPE_CHECKING:
    from pipeline.plan.rendition import Intent, PixelSettings

Space = RGBSpace | OutputProfile


def space_of(settings: PixelSettings) -> Space:
    """Return the space of a target: the ICC profile that the job names for it, else one of our own."""
    if settings.icc_profile is not None:
        return _read(settings.icc_profile, settings.intent)
    return GREY if settings.colour == "grey" else RGB_TARGETS[settings.colour]


@lru_cache(maxsize=8)
def _read(icc_profile: bytes, intent: Intent) -> Space:
    return read_output_profile(icc_profile, intent)


def icc_profile_of(space: Space) -> bytes:
    """Return the profile that is embedded with pixels of a space."""
    return write_matrix_profile(space) if isinstance(space, RGBSpace) else space.icc_profile
