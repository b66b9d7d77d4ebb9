"""The rendition of one frame for one target, and the whole frame for the contact sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.light.box import WHOLE, Box
from pipeline.plan.cut import cut_for, free_parts, trim_of
from pipeline.plan.days import day_cautions
from pipeline.plan.files import SCREEN_PPI, WHOLE_SIDE, Named, full_view, outputs_of, preview_of, small_whole
from pipeline.plan.judge import cautions, refusal
from pipeline.plan.level import turned_point, turned_request
from pipeline.plan.rendition import Crop, PixelSettings, Rendition
from pipeline.plan.settings import SCREEN_HALO_LIMIT, pixel_settings
from pipeline.plan.sizes import effective_ppi, given_sizes

if TYPE_CHECKING:
    from pipeline.job.job import AskedFrame, Job, Request
    from pipeline.light.turn import Turn
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.held import HeldFacts

PREVIEW_QUALITY = 80


def rendition_of(
    job: Job,
    asked: AskedFrame,
    request: Request,
    turn: Turn,
    facts: HeldFacts,
) -> Rendition:
    """Return one frame made for one target. `facts` are the frame's, as they hold for a target."""
    target, frame = request.target, turn.size
    crop, refused = cut_for(request, turn)
    request = turned_request(turn, request)
    given = given_sizes(target, crop.box)
    ppi = effective_ppi(target, crop.box)
    refused = refused or refusal(target, crop, given.short, ppi)
    paper_ppi = min(target.ppi, ppi) if ppi else SCREEN_PPI
    named = Named(job.slug, asked.slug, request)
    outputs = outputs_of(named, () if refused else given.sizes, paper_ppi)
    held = facts.of(target)
    settings = pixel_settings(job, target, paper_ppi)
    return Rendition(
        frame=asked.slug,
        outlet=request.outlet,
        target=request.name,
        about=target.about,
        crop=crop,
        trim=trim_of(target),
        free=free_parts(target),
        settings=settings,
        policy=target.metadata,
        facts=held,
        outputs=outputs,
        preview=None if refused else preview_of(named.preview, given.sizes[-1]),
        effective_ppi=ppi,
        cautions=(*cautions(request, frame, crop, given, ppi), *day_cautions(held)),
        refused=refused,
        round_shape=target.shape == "round",
        full=full_view(named.preview, outputs, settings),
        needs_approval=target.needs == "approval",
    )


def whole_frame(asked: AskedFrame, turn: Turn, facts: PictureFacts) -> Rendition:
    """Return the whole (turned) frame as a rendition of its own, for the contact sheet."""
    frame = turn.size
    box = Box(0, 0, frame.width, frame.height)
    return Rendition(
        frame=asked.slug,
        outlet="sheet",
        target="whole",
        about="The whole frame, for the contact sheet",
        crop=Crop(box, turned_point(turn, asked.subject), "no", 1.0, 0.0, turn.degrees),
        trim=WHOLE,
        free=(WHOLE,),
        settings=PixelSettings(0.0, 1.0, SCREEN_HALO_LIMIT, "srgb", None, (("jpeg", PREVIEW_QUALITY),)),
        policy="public",
        facts=facts,
        outputs=(),
        preview=preview_of(asked.slug, frame, WHOLE_SIDE),
        effective_ppi=None,
        cautions=(),
        refused=None,
        small=small_whole(asked.slug, frame),
    )
