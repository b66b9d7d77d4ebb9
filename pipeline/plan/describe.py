"""The facts of a picture as the job states them: the frame's own words over the shoot's."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pipeline.plan.facts import Contact, Contributor, Translation

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import date

    from pipeline.job.job import AskedFrame, Job
    from pipeline.job.model import FrameEntry, PairEntry
    from pipeline.plan.facts import PictureFacts, Policy

# Lines of [credit] that go into the facts under their own names.
CREDIT_LINES = (
    "creator_title",
    "credit_line",
    "copyright",
    "owner",
    "licence_url",
    "licensor",
    "acquire_url",
    "usage_terms",
)
PROOF_TERMS = "Proof for review only. All rights reserved; no licence is given with this file."


def in_language(words: str | Mapping[str, str] | None, language: str) -> str | None:
    """Return the words in the shoot's language: its own entry, else one of the same base language, else the first."""
    if words is None or isinstance(words, str):
        return words
    base = language.split("-", maxsplit=1)[0]
    same_base = [text for tag, text in words.items() if tag.split("-", maxsplit=1)[0] == base]
    return words.get(language) or next(iter([*same_base, *words.values()]), None)


def job_words(job: Job, asked: AskedFrame) -> dict[str, Any]:
    """Return the facts that the job itself states, by their names in `PictureFacts`; silent ones are left out.

    A frame's own word goes before the shoot's. The sponsor's disclosure ends every description.
    """
    entry, shoot, language = asked.entry, job.shoot, job.shoot.language
    alt = in_language(entry.alt, language)
    creator = _first(entry.credit.creator, job.credit.creator)
    contact = _first(entry.credit.contact, job.credit.contact)
    contributors = _first(entry.credit.contributors, job.credit.contributors) or ()
    words = {
        "title": in_language(entry.title, language) or shoot.title,
        "headline": entry.headline,
        "description": disclosed(job, in_language(entry.caption, language)),
        "alt": "" if entry.decorative else (alt or "").strip() or None,
        "long_alt": in_language(entry.long_alt, language),
        "decorative": entry.decorative,
        "creators": (creator,) if isinstance(creator, str) else creator,
        "contact": Contact(**contact.model_dump()) if contact else None,
        "contributors": tuple(Contributor(one.name, one.role) for one in contributors),
        "keywords": tuple(dict.fromkeys([*shoot.keywords, *entry.keywords])),
        "date_created": shoot.date.isoformat() if shoot.date else None,
        "source": shoot.source,
        "job_id": shoot.job_id,
        "instructions": _first(entry.instructions, shoot.instructions),
        "caption_writer": shoot.caption_writer,
        "digital_source": _first(entry.digital_source, shoot.digital_source),
        "not_before": _day(_first(entry.not_before, shoot.not_before)),
        "licence_ends": _day(_first(entry.licence_ends, shoot.licence_ends)),
        "rating": entry.rating,
        "translations": tuple(_translation(job, entry, tag) for tag in _other_languages(entry, language)),
        **{name: _first(getattr(entry.credit, name), getattr(job.credit, name)) for name in CREDIT_LINES},
    }
    return {name: value for name, value in words.items() if value is not None}


def _first(*values: Any) -> Any:  # noqa: ANN401 (the type of what is given)
    return next((value for value in values if value is not None), None)


def _day(day: date | None) -> str | None:
    return day.isoformat() if day else None


def disclosed(job: Job, caption: str | None) -> str | None:
    """Return a caption with the sponsor's disclosure behind it, where there is one."""
    disclosure = job.sponsor.disclosure if job.sponsor else None
    return " ".join(filter(None, [caption, disclosure])) or None


def _other_languages(entry: FrameEntry, language: str) -> list[str]:
    """Return the languages beside the shoot's that any words of the frame are written in, in the order of the job."""
    texts = (entry.title, entry.caption, entry.alt, entry.long_alt)
    found = dict.fromkeys(tag for text in texts if isinstance(text, dict) for tag in text)
    return [tag for tag in found if tag != language]


def _translation(job: Job, entry: FrameEntry | PairEntry, language: str) -> Translation:
    def text(words: str | Mapping[str, str] | None) -> str | None:
        return words.get(language) if words and not isinstance(words, str) else None

    caption, alt = text(entry.caption), text(entry.alt)
    return Translation(
        language=language,
        title=text(entry.title),
        description=disclosed(job, caption) if caption else None,
        alt=None if entry.decorative else (alt or "").strip() or None,
        long_alt=text(entry.long_alt),
    )


# What two frames in one picture may differ in, and is then said of neither.
ONLY_IF_SHARED = ("contact", "licence_url", "licensor", "acquire_url", "digital_source", "creator_title", "rating")
BOTH_SAID = ("credit_line", "copyright", "owner", "usage_terms")


def facts_of_two(job: Job, entry: PairEntry, both: tuple[PictureFacts, PictureFacts]) -> PictureFacts:
    """Return what is written into a picture of two frames: its own words, and the rights in both.

    Lines that differ are both said, parted by a semicolon; an address, or a word that can only be one, is said where
    the frames agree on it. Of two days the later release and the earlier end hold.
    """
    first, second = both
    language = job.shoot.language
    said: dict[str, Any] = {
        name: getattr(first, name) if getattr(first, name) == getattr(second, name) else None for name in ONLY_IF_SHARED
    }
    said |= {name: _both_said(getattr(first, name), getattr(second, name)) for name in BOTH_SAID}
    words = (entry.title, entry.caption, entry.alt, entry.long_alt)
    tags = dict.fromkeys(tag for text in words if isinstance(text, dict) for tag in text)
    return replace(
        first,
        **said,
        title=in_language(entry.title, language) or job.shoot.title,
        headline=entry.headline,
        description=disclosed(job, in_language(entry.caption, language)),
        alt="" if entry.decorative else (in_language(entry.alt, language) or "").strip() or None,
        long_alt=in_language(entry.long_alt, language),
        decorative=entry.decorative,
        creators=tuple(dict.fromkeys((*first.creators, *second.creators))),
        contributors=tuple(dict.fromkeys((*first.contributors, *second.contributors))),
        keywords=tuple(dict.fromkeys((*first.keywords, *second.keywords))),
        date_created=min(filter(None, (first.date_created, second.date_created)), default=None),
        not_before=max(filter(None, (first.not_before, second.not_before)), default=None),
        licence_ends=min(filter(None, (first.licence_ends, second.licence_ends)), default=None),
        translations=tuple(_translation(job, entry, tag) for tag in tags if tag != language),
    )


def _both_said(one: str | None, other: str | None) -> str | None:
    return "; ".join(dict.fromkeys(filter(None, (one, other)))) or None


def facts_under(policy: Policy, facts: PictureFacts) -> PictureFacts:
    """Return the facts as one policy writes them: a proof reserves all rights, whatever the final's terms will be."""
    if policy != "proof":
        return facts
    return replace(facts, usage_terms=PROOF_TERMS, instructions=PROOF_TERMS, acquire_url=None)
