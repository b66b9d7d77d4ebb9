"""The job file, key by key, as TOML writes it (shapes and values only; `read` checks it against the world)."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag

from pipeline.job.days import Day
from pipeline.job.target import Anchor, Table
from pipeline.job.words import (
    BareName,
    KeepBox,
    Language,
    MaybeEmptyWords,
    PointPair,
    Slug,
    SubjectPoint,
    WebAddress,
    Words,
)

TargetPattern = Annotated[str, Field(min_length=1, max_length=100)]
PIXEL_LIMIT = 250_000_000

# Tags in angle brackets name the branch that a value is checked against; they are no keys of the file.


def _text_or_table(value: object) -> str | None:
    return "<text>" if isinstance(value, str) else "<table>" if isinstance(value, dict) else None


def _name_or_names(value: object) -> str | None:
    return "<name>" if isinstance(value, str) else "<names>" if isinstance(value, list | tuple) else None


IN_LANGUAGES = Discriminator(
    _text_or_table,
    custom_error_type="text_or_table",
    custom_error_message='it must be text, or a table by language such as { en = "...", fr = "..." }',
)
MaybeEmptyText = Annotated[
    Annotated[MaybeEmptyWords, Tag("<text>")] | Annotated[dict[Language, MaybeEmptyWords], Tag("<table>")], IN_LANGUAGES
]
Text = Annotated[Annotated[Words, Tag("<text>")] | Annotated[dict[Language, Words], Tag("<table>")], IN_LANGUAGES]
Names = Annotated[
    Annotated[Words, Tag("<name>")] | Annotated[tuple[Words, ...], Field(min_length=1), Tag("<names>")],
    Discriminator(
        _name_or_names,
        custom_error_type="name_or_names",
        custom_error_message='it must be a name in quotes, or a list of names such as ["...", "..."]',
    ),
]


# IPTC NewsCodes, digital source type: the last part of each term's address. Source: [IPTC], some from memory.
DigitalSource = Literal[
    "digitalCapture",
    "computationalCapture",
    "screenCapture",
    "virtualRecording",
    "negativeFilm",
    "positiveFilm",
    "print",
    "humanEdits",
    "digitalCreation",
    "algorithmicallyEnhanced",
    "dataDrivenMedia",
    "algorithmicMedia",
    "trainedAlgorithmicMedia",
    "compositeCapture",
    "compositeSynthetic",
    "compositeWithTrainedAlgorithmicMedia",
]


class Shoot(Table):
    """The dish and the day."""

    title: Words = Field(examples=["Tomato and white bean soup"])
    slug: Slug | None = None
    date: dt.date | None = None
    language: Language = "en"
    keywords: tuple[Words, ...] = ()
    content_width: Annotated[int, Field(ge=200, le=4000)] = 720
    targets: tuple[TargetPattern, ...] = ()
    job_id: Words | None = None
    source: Words | None = None
    caption_writer: Words | None = None
    instructions: Words | None = None
    digital_source: DigitalSource | None = None
    not_before: Day | None = None
    licence_ends: Day | None = None
    tripod: bool = False


class Site(Table):
    """Where the post and its pictures stand on the web; whole addresses, for link previews and search."""

    post_url: WebAddress | None = None
    pictures_url: WebAddress | None = None


class Contact(Table):
    """How the creator is reached, as far as she wants it in every file."""

    address: Words | None = None
    city: Words | None = None
    region: Words | None = None
    postcode: Words | None = None
    country: Words | None = None
    phone: Words | None = None
    email: Words | None = None
    url: WebAddress | None = None


class Contributor(Table):
    """Somebody beside the photographer: the cook, the stylist."""

    name: Words = Field(examples=["Her name"])
    role: Words = Field(examples=["Food stylist"])


class Credit(Table):
    """Who made the picture and how it may be used. Whether the words suffice is for local rules to say."""

    creator: Names | None = None
    creator_title: Words | None = None
    contact: Contact | None = None
    credit_line: Words | None = None
    copyright: Words | None = None
    owner: Words | None = None
    licence_url: WebAddress | None = None
    licensor: Words | None = None
    acquire_url: WebAddress | None = None
    usage_terms: Words | None = None
    contributors: tuple[Contributor, ...] | None = None


class Sponsor(Table):
    """Who paid, in the words the post discloses it with. Which words are due is for local rules to say."""

    name: Words = Field(examples=["Partner's name"])
    disclosure: Words = Field(examples=["Advertisement."])


class CropHand(Table):
    """One target of a frame that needs its own hand."""

    target: TargetPattern = Field(examples=["feed/vertical"])
    subject: PointPair | None = None
    keep: KeepBox | None = None
    anchor: Anchor | None = None


class FrameEntry(Table):
    """One selected picture: where it is, what it shows, and where it goes."""

    file: Words = Field(examples=["selects/soup.jpg"])
    subject: SubjectPoint = Field(examples=[(0.5, 0.5)])
    view: Literal["overhead", "three-quarter", "straight-on"] | None = None
    keep: KeepBox | None = None
    slug: Slug | None = None
    step: Annotated[int, Field(ge=1, le=999)] | None = None
    title: Text | None = None
    headline: Words | None = None
    alt: MaybeEmptyText | None = None
    long_alt: Text | None = None
    decorative: bool = False
    caption: Text | None = None
    keywords: tuple[Words, ...] = ()
    rating: Annotated[int, Field(ge=-1, le=5)] | None = None
    digital_source: DigitalSource | None = None
    instructions: Words | None = None
    not_before: Day | None = None
    licence_ends: Day | None = None
    credit: Credit = Credit()
    note: Words | None = None
    targets: tuple[TargetPattern, ...] | None = None
    crops: tuple[CropHand, ...] = ()
    turn_deg: Annotated[float, Field(ge=-45, le=45)] = 0.0
    action: bool = False
    tripod: bool | None = None


class PairEntry(Table):
    """Two frames in one picture: the left one and the right one, or the upper and the lower."""

    pair: Annotated[tuple[Slug, Slug], Field(examples=[("soup-from-above", "first-spoonful")])]
    targets: Annotated[tuple[TargetPattern, ...], Field(min_length=1, examples=[("feed/two-up",)])]
    slug: Slug | None = None
    title: Text | None = None
    headline: Words | None = None
    alt: MaybeEmptyText | None = None
    long_alt: Text | None = None
    decorative: bool = False
    caption: Text | None = None


class JobFile(Table):
    """A whole job file."""

    profiles: Annotated[tuple[Words, ...], Field(min_length=1, examples=[("blog",)])]
    profiles_folder: Words | None = None
    pixel_limit: Annotated[int, Field(ge=1_000_000, le=4_000_000_000)] = PIXEL_LIMIT
    captions: Words | None = None
    shoot: Shoot
    site: Site = Site()
    credit: Credit = Credit()
    sponsor: Sponsor | None = None
    targets: dict[str, dict[str, Any]] = Field(default_factory=dict)
    icc_profiles: dict[BareName, Words] = Field(default_factory=dict)
    frames: Annotated[tuple[FrameEntry, ...], Field(min_length=1)]
    pairs: tuple[PairEntry, ...] = ()
    inspection: dict[str, float] = Field(default_factory=dict)
