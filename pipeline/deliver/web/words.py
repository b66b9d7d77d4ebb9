"""The words of a picture in one language, each with the language it is really in and the way it runs."""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from pipeline.deliver.printable import printable

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Plan

Field = Literal["title", "description", "alt", "long_alt"]
Direction = Literal["ltr", "rtl"]

# Scripts that run from right to left, and the languages that are written in one where the tag names no script.
# Source: Unicode scripts with Bidi_Class R or AL; Suppress-Script of the IANA subtag registry (from memory).
_RTL_SCRIPTS = frozenset("adlm arab hebr mand mend nkoo rohg samr syrc thaa".split())  # noqa: SIM905 (a table)
_RTL_LANGUAGES = frozenset("ar arc ckb dv fa he iw ji ku nqo ps sd syr ug ur yi".split())  # noqa: SIM905 (a table)


@dataclass(frozen=True, slots=True)
class Said:
    """Words, and the language they are in (a BCP 47 tag)."""

    text: str
    language: str


def languages(plan: Plan) -> tuple[str, ...]:
    """Return the languages of the job: the shoot's first, then each that a frame is translated into, as met.

    Tags that differ in case alone name one language (RFC 5646, 2.1.1), and would be one folder on some disks.
    """
    found = {plan.language.lower(): plan.language}
    for frame in plan.frames:
        for one in frame.facts.translations:
            found.setdefault(one.language.lower(), one.language)
    return tuple(found.values())


def said(facts: PictureFacts, field: Field, language: str) -> Said | None:
    """Return a picture's words in `language`: its own, else of the same base language, else the facts' first ones.

    A decorative picture's alt is "" in every language. None where there are no words at all.
    """
    if field == "alt" and facts.decorative:
        return Said("", language)
    found = [Said(printable(text), tag) for tag, text in _versions(facts, field) if text and text.strip()]
    wanted = language.lower()
    exact = [one for one in found if one.language.lower() == wanted]
    near = [one for one in found if one.language.lower().partition("-")[0] == wanted.partition("-")[0]]
    return next(iter([*exact, *near, *found]), None)


def _versions(facts: PictureFacts, field: Field) -> Iterator[tuple[str, str | None]]:
    yield facts.language, getattr(facts, field)
    for one in facts.translations:
        yield one.language, getattr(one, field)


def without_disclosure(caption: str, disclosure: str | None) -> str:
    """Return a caption without the sponsor's disclosure, which ends every caption of a paid post."""
    return caption.removesuffix(printable(disclosure or "")).rstrip() if disclosure else caption


def direction_of_text(text: str) -> Direction | None:
    """Return which way text runs by its first strong character, as dir=auto does; None where it has none."""
    for letter in text:
        match unicodedata.bidirectional(letter):
            case "L":
                return "ltr"
            case "R" | "AL":
                return "rtl"
    return None


def direction_of_language(tag: str) -> Direction:
    """Return which way a language is written, by the script of its tag, else by the language."""
    language, *more = tag.lower().split("-")
    script = next((part for part in more if len(part) == 4 and part.isalpha()), None)  # RFC 5646, 2.2.3
    return "rtl" if (script in _RTL_SCRIPTS if script else language in _RTL_LANGUAGES) else "ltr"
