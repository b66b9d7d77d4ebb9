"""The rendition of two frames in one picture: each half is cut as a frame is, to the half's shape."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.light.box import WHOLE, Size
from pipeline.light.two_up import fitted, halves
from pipeline.plan.cut import cut_for
from pipeline.plan.days import dated, day_cautions
from pipeline.plan.describe import facts_of_two, facts_under, in_language
from pipeline.plan.files import SCREEN_PPI, Named, full_view, outputs_of, preview_of
from pipeline.plan.level import turn_of
from pipeline.plan.lint import word_cautions
from pipeline.plan.lost import lost_share
from pipeline.plan.rendition import Beside, Rendition
from pipeline.plan.settings import pixel_settings

if TYPE_CHECKING:
    from pipeline.job.job import AskedPair, Job, Request
    from pipeline.job.target import Target
    from pipeline.light.two_up import Layout
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Crop, PlannedFrame


def two_ups(job: Job, pair: AskedPair, frames: tuple[PlannedFrame, PlannedFrame]) -> tuple[Rendition, ...]:
    """Return what is made of a pair, in the order of its targets. `frames` are its two frames as they are planned."""
    facts = facts_of_two(job, pair.entry, (frames[0].facts, frames[1].facts))
    return tuple(_two_up(job, pair, requests, frames, facts) for requests in pair.requests)


def _two_up(
    job: Job,
    pair: AskedPair,
    requests: tuple[Request, Request],
    frames: tuple[PlannedFrame, PlannedFrame],
    facts: PictureFacts,
) -> Rendition:
    request, target = requests[0], requests[0].target
    whole, layout, gap_asked = _asked(target)
    half, _ = halves(whole, layout, gap_asked)
    asked = (pair.first, pair.second)
    cuts = [
        cut_for(_for_half(one, half.size), turn_of(frame.entry, planned.header))
        for one, frame, planned in zip(requests, asked, frames, strict=True)
    ]
    crops = cuts[0][0], cuts[1][0]
    size, gap_px, refused = whole, gap_asked, next((why for _, why in cuts if why), None)
    try:
        size, gap_px = fitted(whole, layout, gap_asked, (crops[0].box.size, crops[1].box.size))
    except ValueError as error:
        refused = refused or f"too small: {error}"
    refused = refused or _refusal(target, crops, frames, short=size != whole)
    named = Named(job.slug, pair.slug, request)
    settings = pixel_settings(job, target, SCREEN_PPI)
    outputs = outputs_of(named, () if refused else (size,), SCREEN_PPI)
    held = dated(facts_under(target.metadata, facts), target)
    second = frames[1]
    return Rendition(
        frame=pair.slug,
        outlet=request.outlet,
        target=request.name,
        about=target.about,
        crop=crops[0],
        trim=WHOLE,
        free=(WHOLE,),
        settings=settings,
        policy=target.metadata,
        facts=held,
        outputs=outputs,
        preview=None if refused else preview_of(named.preview, size),
        effective_ppi=None,
        cautions=(*_cautions(pair, crops, frames, whole, size), *day_cautions(held)),
        refused=refused,
        beside=Beside(second.slug, second.file, second.header, crops[1], layout, gap_px, size),
        full=full_view(named.preview, outputs, settings),
        needs_approval=target.needs == "approval",
    )


def _asked(target: Target) -> tuple[Size, Layout, int]:
    if target.layout is None or target.size_px is None:
        raise AssertionError("a pair is asked of targets with a layout alone, and those have a size")
    return Size(*target.size_px), target.layout, target.gap_px or 0


def _for_half(request: Request, half: Size) -> Request:
    """Return what is asked of one frame: the target as if its half were all of it."""
    change = {"size_px": (half.width, half.height), "layout": None, "gap_px": None}
    return replace(request, target=request.target.model_copy(update=change))


def _refusal(
    target: Target, crops: tuple[Crop, Crop], frames: tuple[PlannedFrame, PlannedFrame], *, short: bool
) -> str | None:
    if target.too_small == "refuse" and short:
        return "too small: the crops have fewer pixels than the target asks for"
    for crop, frame in zip(crops, frames, strict=True):
        if target.keep_miss == "refuse" and crop.keep_lost > 0:
            lost = lost_share(crop.keep_lost)
            return f"no crop of this shape holds the keep box of {frame.slug}: {lost} of it would be lost"
    return None


def _cautions(
    pair: AskedPair, crops: tuple[Crop, Crop], frames: tuple[PlannedFrame, PlannedFrame], whole: Size, size: Size
) -> list[str]:
    found = [
        f"{lost_share(crop.keep_lost)} of the keep box of {frame.slug} is cut off"
        for crop, frame in zip(crops, frames, strict=True)
        if crop.keep_lost > 0
    ]
    if size != whole:
        found.append(f"made {size.width} px wide, {whole.width} asked for: the crops have no more")
    entry, language = pair.entry, frames[0].facts.language
    alt, caption = (in_language(words, language) for words in (entry.alt, entry.caption))
    return [*found, *word_cautions(alt, caption, pair.slug, decorative=entry.decorative)]
