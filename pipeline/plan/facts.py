"""The facts of one picture, as they are written into every file made from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Policy = Literal["public", "full", "proof"]


@dataclass(frozen=True, slots=True)
class Translation:
    """The words of a picture in one more language (`language` is a BCP 47 tag)."""

    language: str
    title: str | None = None
    description: str | None = None
    alt: str | None = None
    long_alt: str | None = None


@dataclass(frozen=True, slots=True)
class Contact:
    """How the creator is reached. Only what the job states; never taken from a frame."""

    address: str | None = None
    city: str | None = None
    region: str | None = None
    postcode: str | None = None
    country: str | None = None
    phone: str | None = None
    email: str | None = None
    url: str | None = None


@dataclass(frozen=True, slots=True)
class Contributor:
    """Somebody beside the photographer who made the picture: the cook, the stylist."""

    name: str
    role: str


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What a picture shows, who made it and how it may be used; None or () where the job is silent.

    `language` is a BCP 47 tag for all words here; other languages stand in `translations`. `long_alt` is the
    extended description behind a short `alt`; `decorative` pictures have `alt == ""`. `date_created` is ISO
    8601, local time with its offset where known. `creators` are names in the order of the credit.
    `digital_source` is the last part of a term of the IPTC vocabulary (`digitalCapture`). `not_before` and
    `licence_ends` are ISO 8601 dates, or times with their offset. `rating` is -1 (rejected) to 5. `instructions`
    carries the rights reservation of a proof.
    """

    language: str
    title: str | None = None
    headline: str | None = None
    description: str | None = None
    alt: str | None = None
    long_alt: str | None = None
    decorative: bool = False
    creators: tuple[str, ...] = ()
    creator_title: str | None = None
    contact: Contact | None = None
    credit_line: str | None = None
    copyright: str | None = None
    owner: str | None = None
    licence_url: str | None = None
    licensor: str | None = None
    acquire_url: str | None = None
    usage_terms: str | None = None
    keywords: tuple[str, ...] = ()
    date_created: str | None = None
    source: str | None = None
    job_id: str | None = None
    instructions: str | None = None
    caption_writer: str | None = None
    contributors: tuple[Contributor, ...] = ()
    digital_source: str | None = None
    not_before: str | None = None
    licence_ends: str | None = None
    rating: int | None = None
    translations: tuple[Translation, ...] = ()
