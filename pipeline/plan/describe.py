"""The facts of a picture: the frame's own words over the shoot's, the camera's date where it has one."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pipeline.plan.facts import PictureFacts

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.frames.header import Header
    from pipeline.job.job import AskedFrame, Job
    from pipeline.plan.facts import Policy

PROOF_TERMS = "Proof for review only. All rights reserved; no licence is given with this file."


def in_language(words: str | Mapping[str, str] | None, language: str) -> str | None:
    """Return the words in the shoot's language: its own entry, else one of the same base language, else the first."""
    if words is None or isinstance(words, str):
        return words
    base = language.split("-", maxsplit=1)[0]
    same_base = [text for tag, text in words.items() if tag.split("-", maxsplit=1)[0] == base]
    return words.get(language) or next(iter([*same_base, *words.values()]), None)


def frame_facts(job: Job, asked: AskedFrame, header: Header) -> PictureFacts:
    """Return what is written into every file made from this frame."""
    entry, language = asked.entry, job.shoot.language

    def credit(name: str) -> Any:  # noqa: ANN401 (the type of that field)
        own = getattr(entry.credit, name)
        return own if own is not None else getattr(job.credit, name)

    creator = credit("creator")
    caption = in_language(entry.caption, language)
    disclosure = job.sponsor.disclosure if job.sponsor else None
    alt = in_language(entry.alt, language)
    return PictureFacts(
        language=language,
        title=entry.title or job.shoot.title,
        description=" ".join(filter(None, [caption, disclosure])) or None,
        alt="" if entry.decorative else (alt.strip() or None if alt else None),
        decorative=entry.decorative,
        creators=(creator,) if isinstance(creator, str) else tuple(creator or ()),
        credit_line=credit("credit_line"),
        copyright=credit("copyright"),
        licence_url=credit("licence_url"),
        acquire_url=credit("acquire_url"),
        usage_terms=credit("usage_terms"),
        keywords=tuple(dict.fromkeys([*job.shoot.keywords, *entry.keywords])),
        date_created=header.camera.taken or (job.shoot.date.isoformat() if job.shoot.date else None),
        job_id=job.shoot.job_id,
    )


def facts_under(policy: Policy, facts: PictureFacts) -> PictureFacts:
    """Return the facts as one policy writes them: a proof reserves all rights, whatever the final's terms will be."""
    if policy != "proof":
        return facts
    return replace(facts, usage_terms=PROOF_TERMS, instructions=PROOF_TERMS, acquire_url=None)
