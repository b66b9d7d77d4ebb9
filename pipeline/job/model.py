"""The job file, key by key, as TOML writes it (shapes and values only; `read` checks it against the world)."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from pipeline.job.target import Table
from pipeline.job.words import Fraction01, Language, MaybeEmptyWords, Slug, WebAddress, Words

TargetPattern = Annotated[str, Field(min_length=1, max_length=100)]
PointPair = tuple[Fraction01, Fraction01]


def _holds_something(keep: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    if not (keep[0] < keep[2] and keep[1] < keep[3]):
        raise ValueError("this box is empty; write it as [left, top, right, bottom] with left < right and top < bottom")
    return keep


KeepBox = Annotated[tuple[Fraction01, Fraction01, Fraction01, Fraction01], AfterValidator(_holds_something)]
PIXEL_LIMIT = 250_000_000


class Shoot(Table):
    """The dish and the day."""

    title: Words
    slug: Slug | None = None
    date: dt.date | None = None
    language: Language = "en"
    keywords: tuple[Words, ...] = ()
    content_width: Annotated[int, Field(ge=200, le=4000)] = 720
    targets: tuple[TargetPattern, ...] = ()
    job_id: Words | None = None


class Credit(Table):
    """Who made the picture and how it may be used. Whether the words suffice is for local rules to say."""

    creator: Words | Annotated[tuple[Words, ...], Field(min_length=1)] | None = None
    credit_line: Words | None = None
    copyright: Words | None = None
    licence_url: WebAddress | None = None
    acquire_url: WebAddress | None = None
    usage_terms: Words | None = None


class Sponsor(Table):
    """Who paid, in the words the post discloses it with. Which words are due is for local rules to say."""

    name: Words
    disclosure: Words


class CropHand(Table):
    """One target of a frame that needs its own hand."""

    target: TargetPattern
    subject: PointPair | None = None
    keep: KeepBox | None = None
    anchor: Literal["thirds", "centre"] | PointPair | None = None


class FrameEntry(Table):
    """One selected picture: where it is, what it shows, and where it goes."""

    file: Words
    subject: PointPair
    view: Literal["overhead", "three-quarter", "straight-on"] | None = None
    keep: KeepBox | None = None
    slug: Slug | None = None
    step: Annotated[int, Field(ge=1, le=999)] | None = None
    title: Words | None = None
    alt: MaybeEmptyWords | dict[Language, MaybeEmptyWords] | None = None
    decorative: bool = False
    caption: Words | dict[Language, Words] | None = None
    keywords: tuple[Words, ...] = ()
    credit: Credit = Credit()
    note: Words | None = None
    targets: tuple[TargetPattern, ...] | None = None
    crops: tuple[CropHand, ...] = ()


class JobFile(Table):
    """A whole job file."""

    profiles: Annotated[tuple[Words, ...], Field(min_length=1)]
    profiles_folder: Words | None = None
    pixel_limit: Annotated[int, Field(ge=1_000_000, le=4_000_000_000)] = PIXEL_LIMIT
    shoot: Shoot
    credit: Credit = Credit()
    sponsor: Sponsor | None = None
    targets: dict[str, dict[str, Any]] = Field(default_factory=dict)
    frames: Annotated[tuple[FrameEntry, ...], Field(min_length=1)]
