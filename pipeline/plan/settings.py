"""What of a target changes pixels, gathered for one rendition."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING

from pipeline.job.sizes import byte_count
from pipeline.light.sharpness import paper_radius_px
from pipeline.plan.rendition import PixelSettings

if TYPE_CHECKING:
    from pipeline.job.job import Job
    from pipeline.job.target import Target

# Shares of the range around an edge, which holds the ringing of the resizing kernel too: a halo stays within 8 % of the
# step on a screen and 20 % on paper.
SCREEN_HALO_LIMIT, PAPER_HALO_LIMIT = 0.08, 0.18


def pixel_settings(job: Job, target: Target, paper_ppi: float) -> PixelSettings:
    """Return the settings of a target at the resolution that its paper will have."""
    paper = target.sharpen.medium == "paper"
    radius = paper_radius_px(target.sharpen.viewing_mm, paper_ppi) if paper else 0.0
    settings = PixelSettings(
        sharpen_radius_px=round(radius, 3),
        sharpen_amount=0.0 if target.sharpen.medium == "none" else target.sharpen.amount,
        halo_limit=PAPER_HALO_LIMIT if paper else SCREEN_HALO_LIMIT,
        colour=target.colour,
        intent=target.intent,
        gamut=target.gamut,
        icc_profile=dict(job.icc_profiles).get(target.colour),
        ink_limit=target.ink_limit,
        bytes_max=byte_count(target.bytes_max) if target.bytes_max else None,
        fidelity=target.fidelity,
        # Some labs refuse progressive JPEG (common practice, no source); the standard's tables are for baseline alone.
        progressive=target.size_mm is None and target.jpeg_tables == "fitted",
        jpeg_tables=target.jpeg_tables,
        mark=_mark(job) if target.mark else None,
        quality=tuple((name, getattr(target.quality, name)) for name in ("jpeg", "webp", "avif")),
    )
    return _shared(settings)


@functools.lru_cache(maxsize=1024)
def _shared(settings: PixelSettings) -> PixelSettings:
    """Return the first of settings that are equal: one object for all frames of a target, so that it is written once.

    Equal are only those of the same types: each field has one, which the job's model sees to.
    """
    return settings


def _mark(job: Job) -> str:
    partner = f" · for {job.sponsor.name}" if job.sponsor else ""
    return f"Proof · {job.shoot.title}{partner}"
