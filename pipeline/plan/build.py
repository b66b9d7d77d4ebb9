"""From a job and its frames' headers to the plan of every rendition. Pure: no file is opened here."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import PurePath
from typing import TYPE_CHECKING

from pipeline.faults import Fault, RequestRefused
from pipeline.light.box import WHOLE, Box, Point, Region
from pipeline.light.free import both_free, free_beside_corner, free_from_bands, free_in_margins
from pipeline.light.ratio import parse_ratio
from pipeline.light.sharpness import SCREEN_SIGMA_PX, paper_sigma_px
from pipeline.light.trim import trim_region
from pipeline.plan.crop import CropRequest, find_crop
from pipeline.plan.describe import facts_under, in_language
from pipeline.plan.fill import describe
from pipeline.plan.lint import alt_cautions, shared_alts
from pipeline.plan.naming import file_name
from pipeline.plan.rendition import Crop, Output, PixelSettings, Plan, PlannedFrame, Rendition
from pipeline.plan.sizes import effective_ppi, given_sizes, outer_ratio

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.header import Header
    from pipeline.job.job import AskedFrame, Job, Request
    from pipeline.job.target import Target
    from pipeline.light.box import Size
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import OutputFormat
    from pipeline.plan.sizes import Given

SCREEN_PPI = 72.0
SCREEN_HALO_LIMIT, PAPER_HALO_LIMIT = 0.08, 0.20
PREVIEW_SIDE, WHOLE_SIDE = 640, 1600
PREVIEW_QUALITY = 80
MUCH_WIDER = 1.25  # from here on it is worth a word what a keep box costs
ENDINGS: dict[OutputFormat, str] = {"jpeg": "jpg", "png": "png", "webp": "webp", "tiff": "tif", "avif": "avif"}


def identity(file: str, name: str, size: Size, output_format: str) -> str:
    """Return what one file is for, whatever it is called: this outlives a change of slug or template.

    A frame named with its whole path is known by a digest of it: the record goes where the pictures go.
    """
    if PurePath(file).is_absolute():
        file = f"{hashlib.sha256(file.encode()).hexdigest()[:16]} {PurePath(file).name}"
    return f"{file} | {name} | {size.width} | {output_format}"


def build_plan(job: Job, headers: Mapping[str, Header], delivered: Mapping[str, str]) -> Plan:
    """Return the plan for the frames whose headers could be read.

    `headers` is by frame slug; `delivered` gives the path under which an identity was delivered before, which
    stays. Raises `RequestRefused` where two files would have one name.
    """
    shared = shared_alts((asked.slug, in_language(asked.entry.alt, job.shoot.language)) for asked in job.frames)
    frames = tuple(
        _frame(job, asked, headers[asked.slug], delivered, shared.get(asked.slug))
        for asked in job.frames
        if asked.slug in headers
    )
    plan = Plan(
        job=job.file,
        title=job.shoot.title,
        slug=job.slug,
        date=job.shoot.date.isoformat() if job.shoot.date else None,
        language=job.shoot.language,
        credit_line=job.credit.credit_line,
        frames=frames,
        content_width=job.shoot.content_width,
        post_url=job.site.post_url,
        pictures_url=job.site.pictures_url,
        sponsor=job.sponsor.name if job.sponsor else None,
    )
    collisions = _collisions(job, plan, delivered)
    if collisions:
        raise RequestRefused(*collisions)
    return plan


def _collisions(job: Job, plan: Plan, delivered: Mapping[str, str]) -> list[Fault]:
    """Return a fault for each file name that two renditions would share, also where only the case differs."""
    seen: dict[str, Rendition] = {}
    faults: dict[tuple[str, str], Fault] = {}
    for rendition in plan.renditions:
        for output in rendition.outputs:
            other = seen.setdefault(output.path.lower(), rendition)
            if other is not rendition:
                fault = _collision(job.file.name, other, rendition, output.path, set(delivered.values()))
                faults.setdefault((other.name, rendition.name), fault)
    return list(faults.values())


def _collision(job: str, first: Rendition, second: Rendition, path: str, delivered: set[str]) -> Fault:
    found = f"both {first.name} and {second.name} would be written to {path}"
    if path in delivered:
        wanted = "a delivered file keeps its name: `export --rename` gives each the name the job says now"
    elif first.frame == second.frame:
        wanted = f"put {{target}} into the name of the outlet profile '{first.outlet}'"
    else:
        wanted = "give one of the frames another slug"
    return Fault(job, found, wanted)


def _frame(
    job: Job, asked: AskedFrame, header: Header, delivered: Mapping[str, str], shared_alt: str | None
) -> PlannedFrame:
    described = describe(job, asked, header)
    facts = described.facts
    renditions = tuple(_rendition(job, asked, request, header.size, facts, delivered) for request in asked.requests)
    entry = asked.entry
    cautions = [] if header.icc_profile or header.format == "raw" else ["no ICC profile: taken as sRGB"]
    if header.camera.position:
        cautions.append("the frame carries GPS, the place where it was taken: no file made from it does")
    alt, caption = (in_language(words, job.shoot.language) for words in (entry.alt, entry.caption))
    cautions.extend(alt_cautions(alt or facts.alt, caption, entry.file, decorative=entry.decorative))
    cautions.extend(filter(None, [shared_alt]))
    cautions.extend(described.conflicts)
    return PlannedFrame(
        slug=asked.slug,
        file=entry.file,
        path=asked.path,
        header=header,
        view=entry.view,
        subject=Point(*entry.subject),
        keep=Region(*entry.keep) if entry.keep else None,
        step=entry.step,
        facts=facts,
        whole=_whole(asked, header.size, facts),
        renditions=renditions,
        cautions=tuple(cautions),
        origins=described.origins,
        notes=described.notes,
    )


def _free(target: Target) -> tuple[Region, ...]:
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


def _trim(target: Target) -> Region:
    return trim_region(target.size_mm, target.bleed_mm) if target.size_mm and target.bleed_mm else WHOLE


def crop_request(request: Request, frame: Size) -> CropRequest:
    """Return what the crop of one target has to satisfy in a frame of this size."""
    target = request.target
    return CropRequest(
        frame=frame,
        ratio=outer_ratio(target),
        trim=_trim(target),
        subject=request.subject,
        keep=request.keep,
        free=_free(target),
        also_seen=tuple(parse_ratio(ratio) for ratio in target.also_seen),
        round_shape=target.shape == "round",
        anchor=request.anchor,
        reach=target.reach,
    )


def _rendition(
    job: Job,
    asked: AskedFrame,
    request: Request,
    frame: Size,
    facts: PictureFacts,
    delivered: Mapping[str, str],
) -> Rendition:
    target = request.target
    crop, refused = _crop(request, frame)
    given = given_sizes(target, crop.box)
    ppi = effective_ppi(target, crop.box)
    refused = refused or _refusal(target, crop, given.short, ppi)
    full = f"{request.outlet}/{request.name}"
    paper_ppi = min(target.ppi, ppi) if ppi else SCREEN_PPI
    outputs: list[Output] = []
    for size in given.sizes if refused is None else ():
        name = file_name(
            request.name_template,
            slug=job.slug,
            frame=asked.slug,
            outlet=request.outlet,
            target=request.name,
            width=size.width,
            height=size.height,
        )
        for output_format in target.formats:
            path = f"{request.outlet}/{name}.{ENDINGS[output_format]}"
            path = delivered.get(identity(asked.entry.file, full, size, output_format), path)
            outputs.append(Output(size, output_format, path, round(paper_ppi, 2)))
    largest = given.sizes[-1]
    return Rendition(
        frame=asked.slug,
        outlet=request.outlet,
        target=request.name,
        about=target.about,
        crop=crop,
        trim=_trim(target),
        free=_free(target),
        settings=_settings(job, target, paper_ppi),
        policy=target.metadata,
        facts=facts_under(target.metadata, facts),
        outputs=tuple(outputs),
        preview=None if refused else _preview(f"{asked.slug}--{request.outlet}--{request.name}", largest, PREVIEW_SIDE),
        effective_ppi=ppi,
        cautions=tuple(_cautions(request, frame, crop, given, ppi)),
        refused=refused,
    )


def _crop(request: Request, frame: Size) -> tuple[Crop, str | None]:
    """Return the crop; where the frame is too small for any of the shape, the whole frame and why it is refused."""
    try:
        return find_crop(crop_request(request, frame)), None
    except ValueError as error:
        return Crop(Box(0, 0, frame.width, frame.height), request.subject, "no", 1.0, 0.0), f"too small: {error}"


def _settings(job: Job, target: Target, paper_ppi: float) -> PixelSettings:
    paper = target.sharpen.medium == "paper"
    sigma = paper_sigma_px(target.sharpen.viewing_mm, paper_ppi) if paper else SCREEN_SIGMA_PX
    return PixelSettings(
        sharpen_radius_px=round(sigma, 3),
        sharpen_amount=0.0 if target.sharpen.medium == "none" else target.sharpen.amount,
        halo_limit=PAPER_HALO_LIMIT if paper else SCREEN_HALO_LIMIT,
        colour=target.colour,
        mark=_mark(job) if target.mark else None,
        quality=tuple((name, getattr(target.quality, name)) for name in ("jpeg", "webp", "avif")),
    )


def _mark(job: Job) -> str:
    partner = f" · for {job.sponsor.name}" if job.sponsor else ""
    return f"Proof · {job.shoot.title}{partner}"


def _refusal(target: Target, crop: Crop, short: bool, ppi: float | None) -> str | None:  # noqa: FBT001 (one of a pair with ppi)
    if target.too_small == "refuse":
        floor = target.ppi_floor
        if ppi is not None and floor is not None and ppi < floor:
            return f"too small: this crop gives {ppi:.0f} ppi on paper, and {floor:g} ppi is the least for this target"
        if short and (ppi is None or floor is None):
            return f"too small: this crop is {crop.box.width} px wide, less than the target asks for"
    if target.keep_miss == "refuse" and crop.keep_lost > 0:
        return f"no crop of this shape holds the keep box: {crop.keep_lost:.0%} of it would be lost"
    return None


def _cautions(request: Request, frame: Size, crop: Crop, given: Given, ppi: float | None) -> list[str]:
    target, cautions = request.target, []
    if crop.keep_lost > 0:
        cautions.append(f"{max(crop.keep_lost, 0.01):.0%} of the keep box is cut off or covered")
    if crop.reached == "no" and request.anchor_by_hand:
        # A profile's anchor is a wish, weighed against the picture lost for it; this one the job asks for by name.
        cautions.append("anchor not reached: with the subject there, too much of the picture or the keep box is lost")
    if tight := _tightness(request, frame, crop):
        cautions.append(tight)
    if given.short and ppi is None:
        cautions.append(_shortness(target, crop, given))
    if ppi is not None and ppi < target.ppi:
        cautions.append(f"{ppi:.0f} ppi on paper, below the {target.ppi:g} ppi asked for")
    return cautions


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
        f"it could be {free} px without: make the keep box smaller, or give this target one of its own"
    )


def _preview(name: str, size: Size, side: int) -> Output:
    """Return the small JPEG of a rendition: its longer side at most `side`, never larger than the rendition.

    No slug, outlet or target holds two hyphens in a row, so that two renditions never share a preview.
    """
    scale = min(1.0, side / max(size.width, size.height))
    small = type(size)(max(1, round(size.width * scale)), max(1, round(size.height * scale)))
    return Output(small, "jpeg", f"sheet/previews/{name}.jpg", SCREEN_PPI)


def _whole(asked: AskedFrame, frame: Size, facts: PictureFacts) -> Rendition:
    """Return the whole frame as a rendition of its own, for the contact sheet."""
    box = Box(0, 0, frame.width, frame.height)
    return Rendition(
        frame=asked.slug,
        outlet="sheet",
        target="whole",
        about="The whole frame, for the contact sheet",
        crop=Crop(box, Point(*asked.entry.subject), "no", 1.0, 0.0),
        trim=WHOLE,
        free=(WHOLE,),
        settings=PixelSettings(SCREEN_SIGMA_PX, 1.0, SCREEN_HALO_LIMIT, "srgb", None, (("jpeg", PREVIEW_QUALITY),)),
        policy="public",
        facts=facts,
        outputs=(),
        preview=_preview(asked.slug, frame, WHOLE_SIDE),
        effective_ppi=None,
        cautions=(),
        refused=None,
    )
