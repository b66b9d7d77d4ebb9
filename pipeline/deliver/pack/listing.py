"""What the manifest of an output folder lists for one outlet, read as something that a stranger may have written."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import AfterValidator, Field

from pipeline.deliver.verify.delivered import MANIFEST, Entry, RenditionEntry, read_as
from pipeline.faults import Fault, RequestRefused
from pipeline.job.asked import matching
from pipeline.job.explain import nearest
from pipeline.plan.days import parsed

if TYPE_CHECKING:
    from pathlib import Path

MOST_NAMED = 3
_NEEDED = 3  # the first format that says all this
_SLUG = "^[a-z0-9]+(-[a-z0-9]+)*$"
_TARGET = "^[a-z0-9]+(-[a-z0-9]+)*/[a-z0-9]+(-[a-z0-9]+)*$"


def _day(text: str) -> str:
    parsed(text)
    return text


Slug = Annotated[str, Field(pattern=_SLUG, max_length=250)]
Day = Annotated[str, Field(max_length=40), AfterValidator(_day)]


class Approval(Entry):
    """Who approved a picture, when, and the id of the round that was answered."""

    reviewer: str
    date: str
    round: str


class Sponsor(Entry):
    """Who paid, and the words that say so."""

    name: str
    disclosure: str


class Listed(RenditionEntry):
    """One rendition. The days hold whatever its policy lets the files say of them."""

    frame: Slug
    target: Annotated[str, Field(pattern=_TARGET, max_length=100)]
    about: str
    picture_key: str | None = None
    not_before: Day | None
    licence_ends: Day | None
    needs_approval: bool = False
    approvals: tuple[Approval, ...] = ()
    refused: str | None
    beside: str | None = None

    @property
    def name(self) -> str:
        """Return `frame/outlet/target`."""
        return f"{self.frame}/{self.target}"

    @property
    def outlet(self) -> str:
        """Return the outlet that it goes to."""
        return self.target.partition("/")[0]

    @property
    def waits(self) -> bool:
        """Return whether it must be approved and is not."""
        return self.needs_approval and not self.approvals


class _Numbered(Entry):
    manifest: int


class _Manifest(Entry):
    manifest: Literal[3]
    job: Annotated[str, Field(pattern=r"^[^/\\\x00]+$", max_length=255)]
    title: str
    slug: Slug
    date: Day | None
    language: str
    sponsor: Sponsor | None
    renditions: Annotated[tuple[Listed, ...], Field(max_length=100_000)]


@dataclass(frozen=True, slots=True)
class Listing:
    """An outlet's part of a manifest: what the shoot is, and its renditions in order.

    `chosen` are those that were asked for and that files are there of; `waiting` the names of those that were asked
    for and are not made before they are approved.
    """

    job: str
    title: str
    slug: str
    date: str | None
    language: str
    sponsor: Sponsor | None
    outlet: str
    renditions: tuple[Listed, ...]
    chosen: tuple[Listed, ...]
    waiting: tuple[str, ...]


def read_listing(folder: Path, outlet: str, only: str | None) -> Listing:
    """Return what is listed for an outlet; `only` is a glob over frame/outlet/target.

    Raises `RequestRefused` where there is no manifest that can be read, no such outlet in it, or nothing to send.
    """
    place = folder / MANIFEST
    if read_as(place, _Numbered, absent="name the folder that an export made").manifest < _NEEDED:
        found = "it was written by an earlier plateline and lacks what a pack needs"
        raise RequestRefused(Fault(str(place), found, "run export again, which writes a new one"))
    manifest = read_as(place, _Manifest)
    mine = tuple(one for one in manifest.renditions if one.outlet == outlet)
    if not mine:
        known = list(dict.fromkeys(one.outlet for one in manifest.renditions))
        wanted = f"its outlets are {', '.join(known)}" if known else "export first"
        close = nearest(outlet, known)
        raise RequestRefused(Fault(str(place), f"it lists nothing for '{outlet}'", wanted, nearest=close))
    asked = _asked(outlet, [one.name for one in mine], only)
    waiting = tuple(one.name for one in mine if one.name in asked and one.waits and not one.files)
    chosen = tuple(one for one in mine if one.name in asked and one.files)
    if not chosen:
        raise RequestRefused(_nothing(place, waiting))
    return Listing(
        job=manifest.job,
        title=manifest.title,
        slug=manifest.slug,
        date=manifest.date,
        language=manifest.language,
        sponsor=manifest.sponsor,
        outlet=outlet,
        renditions=mine,
        chosen=chosen,
        waiting=waiting,
    )


def _asked(outlet: str, names: list[str], only: str | None) -> set[str]:
    """Return the names that were asked for, all of them where no pattern says which."""
    if only is None:
        return set(names)
    asked = matching(names, only)
    if not asked:
        found, wanted = f"nothing for '{outlet}' matches '{only}'", f"it is matched against names such as {names[0]}"
        raise RequestRefused(Fault("--only", found, wanted, nearest=nearest(only, names)))
    return set(asked)


def _nothing(place: Path, waiting: tuple[str, ...]) -> Fault:
    if waiting:
        found = f"{some(waiting)} must be approved first, and nothing else was asked for"
        return Fault(str(place), found, "take in a reply with `plateline reply`, then export")
    wanted = "export first; `plateline plan` says what is refused"
    return Fault(str(place), "no file of what was asked for is made", wanted)


def some(names: tuple[str, ...]) -> str:
    """Return the first few names."""
    return ", ".join(names[:MOST_NAMED]) + (f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else "")
