"""What the job leaves out, filled by what the frame says of itself; where each word came from, what was not used.

A word of the job goes before the frame's. Two facts of a single picture go before those of the whole shoot: when
it was taken, and how it came about (the digital source).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.frames.words import FIELDS, SIDECAR, compared, quoted
from pipeline.plan.describe import disclosed, in_language, job_words
from pipeline.plan.facts import PictureFacts, Translation

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.frames.header import Header
    from pipeline.frames.words import Stated
    from pipeline.job.job import AskedFrame, Job

JOB, CAMERA = "job", "Exif of the frame"
TRANSLATED = ("title", "description", "alt", "long_alt")
OF_ONE_PICTURE = ("date_created", "digital_source")
# Where the word of the trade differs from the name of the fact.
FIELD_WORDS = {
    "alt": "alt",
    "date_created": "date",
    "description": "caption",
    "licence_ends": "end of licence",
    "long_alt": "long alt",
    "not_before": "day of release",
}


@dataclass(frozen=True, slots=True)
class Described:
    """The facts of one frame.

    `origins` are (fact, where from). `conflicts` are sentences about words that were used although the frame
    contradicts itself, `notes` about those that were not used and what else is worth knowing.
    """

    facts: PictureFacts
    origins: tuple[tuple[str, str], ...]
    conflicts: tuple[str, ...]
    notes: tuple[str, ...]


def field_word(field: str) -> str:
    """Return the word a photographer has for a fact."""
    return FIELD_WORDS.get(field, field.replace("_", " "))


def describe(job: Job, asked: AskedFrame, header: Header) -> Described:
    """Return what is written into every file made from this frame, and where it comes from."""
    stated, language = header.stated, job.shoot.language
    said = job_words(job, asked)
    own = _own_words(job, asked, said)
    theirs = _frame_words(header, language, decorative=asked.entry.decorative, creators=own.get("creators"))
    filled = {name: value for name, value in theirs.items() if name not in own}
    origins = {name: JOB for name in said if name not in {"decorative", "translations"} and said[name] not in ((), "")}
    origins |= {name: _origin(stated, name) for name in filled}
    words = said | filled
    if "description" in filled:
        words["description"] = disclosed(job, filled["description"])
    words["translations"] = _translations(job, words.get("translations", ()), stated, filled)
    used = {name: sentence for name, sentence in stated.conflicts if name in filled}
    notes = [
        *stated.notes,
        *(f"not used, because the job says otherwise: the frame's own {field_word(name)} {quoted(theirs[name])}"
          for name in theirs if name in own and compared(own[name]) != compared(theirs[name])),
        *_foreign(stated, filled, language),
    ]  # fmt: skip
    order = tuple(PictureFacts.__dataclass_fields__)
    return Described(
        facts=PictureFacts(language=language, **words),
        origins=tuple((name, origins[name]) for name in order if name in origins),
        conflicts=tuple(used.values()),
        notes=tuple(notes),
    )


def _own_words(job: Job, asked: AskedFrame, said: Mapping[str, Any]) -> dict[str, Any]:
    """Return the words of the job that go before the frame's; the disclosure alone is no caption."""
    entry = asked.entry
    own = {name: value for name, value in said.items() if value != () and name not in OF_ONE_PICTURE}
    caption = in_language(entry.caption, job.shoot.language)
    if caption:
        own["description"] = caption
    else:
        own.pop("description", None)
    if entry.digital_source:
        own["digital_source"] = entry.digital_source
    return own


def _frame_words(
    header: Header, language: str, *, decorative: bool, creators: tuple[str, ...] | None
) -> dict[str, Any]:
    """Return the facts that the frame states. Another's job title is none for the creator whom the job names."""
    stated = header.stated
    words: dict[str, Any] = {name: getattr(stated, name) for name in FIELDS}
    words |= {name: stated.text(name, language) for name in TRANSLATED}
    words["date_created"] = words["date_created"] or header.camera.taken
    silent = {"alt", "long_alt"} if decorative else set()
    if creators is not None and compared(creators) != compared(stated.creators):
        silent.add("creator_title")
    return {name: value for name, value in words.items() if value not in (None, ()) and name not in silent}


def _origin(stated: Stated, name: str) -> str:
    origin = stated.origin(name)
    if origin is None:
        return CAMERA
    return "sidecar of the frame" if origin == SIDECAR else f"{origin} of the frame"


def _translations(
    job: Job, own: tuple[Translation, ...], stated: Stated, filled: Mapping[str, Any]
) -> tuple[Translation, ...]:
    """Return the job's translations with the frame's words in further languages, for the facts that the frame fills."""
    by_tag = {one.language.lower(): one for one in own}
    for name, tag, text in stated.in_languages:
        if name in TRANSLATED and name in filled and tag.lower() != job.shoot.language.lower():
            known = by_tag.get(tag.lower(), Translation(tag))
            words: dict[str, Any] = {name: disclosed(job, text) if name == "description" else text}
            by_tag[tag.lower()] = replace(known, **words)
    return tuple(by_tag.values())


def _foreign(stated: Stated, filled: Mapping[str, Any], language: str) -> Iterator[str]:
    """Tell of words that are taken although the frame says that they are in another language than the shoot's."""
    base = language.lower().partition("-")[0]
    for name in TRANSLATED:
        tags = [tag for field, tag, _ in stated.in_languages if field == name]
        if name in filled and tags and base not in {tag.lower().partition("-")[0] for tag in tags}:
            theirs = ", ".join(dict.fromkeys(tags))
            yield f"the frame's {field_word(name)} is in {theirs}, and the words of the shoot are in {language}"
