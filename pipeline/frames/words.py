"""The words that a frame can carry about itself: one source's, and what is left of all after reconciliation.

What is private has no field here at all: no contact data, no persons shown, no places, no owner, no job of somebody
else's.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, fields

EXIF, IIM, XMP, SIDECAR = "Exif", "IIM", "XMP", "sidecar"
LONGEST_QUOTE = 60

Value = str | int | tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Words:
    """What one source says of the picture: None or () where it is silent; texts are never blank.

    Texts hold no control character but tab and line feed. `date_created` is ISO 8601, a day or a time with its
    offset where known. `rating` is -1 (rejected) or 1 to 5: 0 means that nobody has rated the picture.
    `digital_source` is the last part of a term of the IPTC vocabulary. `licence_url` and `acquire_url` begin with
    http:// or https://. Where a text is there in several languages its field holds the default one, and
    `in_languages` holds field, BCP 47 tag and text of each.
    """

    title: str | None = None
    headline: str | None = None
    description: str | None = None
    alt: str | None = None
    long_alt: str | None = None
    creators: tuple[str, ...] = ()
    creator_title: str | None = None
    credit_line: str | None = None
    copyright: str | None = None
    licence_url: str | None = None
    acquire_url: str | None = None
    usage_terms: str | None = None
    keywords: tuple[str, ...] = ()
    date_created: str | None = None
    source: str | None = None
    digital_source: str | None = None
    rating: int | None = None
    in_languages: tuple[tuple[str, str, str], ...] = ()


FIELDS = tuple(one.name for one in fields(Words) if one.name != "in_languages")


@dataclass(frozen=True, slots=True)
class Stated(Words):
    """The words of a frame after reconciliation.

    `origins` gives for each field that is stated where its value stood: "Exif", "IIM", "XMP" or "sidecar".
    `conflicts` gives field and sentence wherever two places say different things ("description: Exif says ...").
    `notes` says what was there and could not be read.
    """

    origins: tuple[tuple[str, str], ...] = ()
    conflicts: tuple[tuple[str, str], ...] = ()
    notes: tuple[str, ...] = ()

    def origin(self, field: str) -> str | None:
        """Return where the value of a field stood; None where the frame is silent."""
        return dict(self.origins).get(field)

    def text(self, field: str, language: str) -> str | None:
        """Return a text in a language, or else in one of the same base language, or else the default."""
        by_tag = {tag.lower(): text for name, tag, text in self.in_languages if name == field}
        wanted = language.lower()
        base = wanted.partition("-")[0]
        related = [text for tag, text in by_tag.items() if tag.partition("-")[0] == base]
        default: str | None = getattr(self, field)
        return by_tag.get(wanted) or next(iter(related), None) or default


def compared(value: Value) -> Value | frozenset[str]:
    """Return a value as two places are compared by: composed letters, single spaces; a list without its order."""
    if isinstance(value, tuple):
        return frozenset(str(compared(one)) for one in value)
    return " ".join(unicodedata.normalize("NFC", value).split()) if isinstance(value, str) else value


def quoted(value: Value) -> str:
    """Return a value in quotes on one line, cut where it is long."""
    words = ", ".join(value) if isinstance(value, tuple) else str(value)
    line = " ".join(words.split())
    return f"'{line[: LONGEST_QUOTE - 1]}…'" if len(line) > LONGEST_QUOTE else f"'{line}'"
