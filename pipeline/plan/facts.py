"""The facts of one picture, as they are written into every file made from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Policy = Literal["public", "full", "proof"]


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What a picture shows, who made it and how it may be used; None or () where the job is silent.

    `language` is a BCP 47 tag for `title`, `description` and `alt`. `date_created` is ISO 8601, local
    time with its offset where known. `creators` are names in the order of the credit.
    `instructions` carries the rights reservation of a proof. `decorative` pictures have `alt == ""`.
    """

    language: str
    title: str | None = None
    description: str | None = None
    alt: str | None = None
    decorative: bool = False
    creators: tuple[str, ...] = ()
    credit_line: str | None = None
    copyright: str | None = None
    licence_url: str | None = None
    acquire_url: str | None = None
    usage_terms: str | None = None
    keywords: tuple[str, ...] = ()
    date_created: str | None = None
    job_id: str | None = None
    instructions: str | None = None
