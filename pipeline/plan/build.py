"""From a job and its frames' headers to the plan of every rendition. Pure: no file is opened here."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.plan.days import dated
from pipeline.plan.delivered import with_delivered_names
from pipeline.plan.describe import in_language
from pipeline.plan.fill import describe
from pipeline.plan.held import HeldFacts
from pipeline.plan.level import turn_cautions, turn_of, turned_point, turned_region
from pipeline.plan.lint import example_cautions, shared_alts, word_cautions
from pipeline.plan.rendition import Plan, PlannedFrame
from pipeline.plan.single import rendition_of, whole_frame
from pipeline.plan.two_up import two_ups

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.header import Header
    from pipeline.job.job import AskedFrame, Job


def build_plan(job: Job, headers: Mapping[str, Header], delivered: Mapping[str, str]) -> Plan:
    """Return the plan for the frames whose headers could be read.

    `headers` is by frame slug; `delivered` gives the path under which an identity was delivered before, which
    stays. Raises `RequestRefused` where two files would have one name.
    """
    shared = shared_alts((asked.slug, in_language(asked.entry.alt, job.shoot.language)) for asked in job.frames)
    frames = tuple(
        _frame(job, asked, headers[asked.slug], shared.get(asked.slug)) for asked in job.frames if asked.slug in headers
    )
    frames = _with_pairs(job, frames)
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
        disclosure=job.sponsor.disclosure if job.sponsor else None,
    )
    return with_delivered_names(plan, delivered)


def _with_pairs(job: Job, frames: tuple[PlannedFrame, ...]) -> tuple[PlannedFrame, ...]:
    """Return the frames with the pictures of two at the first frame of each pair, where both could be read."""
    by_slug = {frame.slug: frame for frame in frames}
    for pair in job.pairs:
        if {pair.first.slug, pair.second.slug} <= set(by_slug):
            first, second = by_slug[pair.first.slug], by_slug[pair.second.slug]
            made = two_ups(job, pair, (first, second))
            by_slug[first.slug] = replace(first, renditions=(*first.renditions, *made))
    return tuple(by_slug.values())


def _frame(job: Job, asked: AskedFrame, header: Header, shared_alt: str | None) -> PlannedFrame:
    described = describe(job, asked, header)
    facts = described.facts
    entry = asked.entry
    turn = turn_of(entry, header)
    for_targets = HeldFacts(facts)
    renditions = tuple(rendition_of(job, asked, request, turn, for_targets) for request in asked.requests)
    cautions = [] if header.icc_profile or header.format == "raw" else ["no ICC profile: taken as sRGB"]
    if header.camera.position:
        cautions.append("the frame carries GPS, the place where it was taken: no file made from it does")
    alt, caption = (in_language(words, job.shoot.language) for words in (entry.alt, entry.caption))
    subject, keep = asked.subject, asked.keep
    cautions.extend(turn_cautions(turn, subject, keep))
    cautions.extend(word_cautions(alt or facts.alt, caption, entry.file, decorative=entry.decorative))
    cautions.extend(example_cautions(facts, job.sponsor))
    cautions.extend(filter(None, [shared_alt]))
    cautions.extend(described.conflicts)
    held = dated(facts)
    return PlannedFrame(
        slug=asked.slug,
        file=entry.file,
        path=asked.path,
        header=header,
        view=entry.view,
        subject=turned_point(turn, subject),
        keep=turned_region(turn, keep),
        step=entry.step,
        facts=held,
        whole=whole_frame(asked, turn, held),
        renditions=renditions,
        cautions=tuple(cautions),
        origins=described.origins,
        notes=described.notes,
    )
