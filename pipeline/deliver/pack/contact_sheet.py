"""The contact sheet that goes with a zip: which files it is made of, which round it shows, whether it is of today.

The page is read as any page: its block of JSON says the round and the picture of each rendition, its text what is said
of them, its links which files it needs.
"""

from __future__ import annotations

import json
import posixpath
from dataclasses import dataclass
from html.parser import HTMLParser
from typing import TYPE_CHECKING, Annotated
from urllib.parse import unquote, urlsplit

from pydantic import Field

from pipeline.deliver.printable import printable
from pipeline.deliver.verify.delivered import Digest, Entry

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from pipeline.deliver.pack.listing import Listing

_MOST_BYTES = 64 << 20
_LINKS = frozenset({"href", "src", "srcset", "poster", "data"})
_SHORT, _LONG = 40, 120


@dataclass(frozen=True, slots=True)
class ContactSheet:
    """The sheet of one outlet: the round that it shows, and the paths of its files below the output folder."""

    round_id: str
    round_number: int
    paths: tuple[str, ...]


def folder_of(outlet: str) -> str:
    """Return where the sheet of an outlet stands below the output folder."""
    return f"sheet/for-{outlet}"


def read_contact_sheet(out: Path, listing: Listing) -> ContactSheet:
    """Return the sheet that goes with what is listed. ValueError, in half a sentence, where there is none of today."""
    page = f"{folder_of(listing.outlet)}/index.html"
    place = out / page
    if not _is_plain(out, page):
        raise ValueError("it is not there")
    if place.stat().st_size > _MOST_BYTES:
        raise ValueError("it is larger than any contact sheet")
    read = _Page()
    try:
        read.feed(place.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError):
        raise ValueError("it cannot be read") from None
    read.close()
    shown = read.shown()
    if shown is None:
        raise ValueError("it is no contact sheet of this plateline")
    _refuse_another_day(listing, shown, " ".join(read.words))
    return ContactSheet(shown.round, shown.number, (page, *_paths(out, page, listing, read.links)))


def _paths(out: Path, page: str, listing: Listing, links: Iterable[str]) -> list[str]:
    """Return the files beside the page that it needs. ValueError where it leads to what it should not.

    A picture of this outlet that was not asked for may be linked; it is then not in the zip.
    """
    delivered = {file.path for one in listing.renditions for file in one.files}
    paths = set()
    for path in filter(None, (_target(page, link) for link in links)):
        if path in delivered or path == page:
            continue
        if not path.startswith(f"{folder_of(listing.outlet)}/"):
            raise ValueError(f"it leads to {path[:_SHORT]}, which is not for '{listing.outlet}'")
        if not _is_plain(out, path):
            raise ValueError(f"it shows {path[:_LONG]}, which is not there")
        paths.add(path)
    return sorted(paths)


def _is_plain(out: Path, path: str) -> bool:
    """Return whether a file is there, with no link on the way to it."""
    place = out.resolve() / path
    return place.is_file() and place.resolve() == place


def _target(page: str, link: str) -> str | None:
    """Return the path below the output folder that a link of the page leads to, None where it leads to no file."""
    try:
        parts = urlsplit(link)
    except ValueError:
        return link
    if parts.scheme or parts.netloc:
        return None
    if not parts.path:  # a place in the page itself
        return None
    return posixpath.normpath(posixpath.join(posixpath.dirname(page), unquote(parts.path)))


class _ShownRendition(Entry):
    rendition: str
    key: str


class _ShownFrame(Entry):
    frame: str
    renditions: tuple[_ShownRendition, ...]


class _Shown(Entry):
    round: Digest
    number: Annotated[int, Field(ge=1)]
    outlet: str | None
    frames: tuple[_ShownFrame, ...]


class _Page(HTMLParser):
    """A page taken apart: the links it follows, the words it shows, and its blocks of JSON."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.links: dict[str, None] = {}
        self.words: list[str] = []
        self._json: list[str] = []
        self._inside: str | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        values = {name: value or "" for name, value in attrs}
        for name in _LINKS & set(values):
            several = values[name].split(",") if name == "srcset" else [values[name]]
            self.links |= dict.fromkeys(
                part.split()[0] if name == "srcset" else part for part in several if part.strip()
            )
        self.words += values.values()
        if tag in {"script", "style"}:
            self._inside = "json" if values.get("type") == "application/json" else "code"
            self._json += [""] * (self._inside == "json")

    def handle_endtag(self, tag: str) -> None:
        if tag in {"script", "style"}:
            self._inside = None

    def handle_data(self, data: str) -> None:
        if self._inside == "json":
            self._json[-1] += data
        elif self._inside is None:
            self.words.append(data)

    def shown(self) -> _Shown | None:
        """Return what the page says that it shows; None where it does not say."""
        for block in self._json:
            try:
                return _Shown.model_validate(json.loads(block), strict=False)
            except (ValueError, RecursionError):
                continue
        return None


def _refuse_another_day(listing: Listing, shown: _Shown, words: str) -> None:
    """See that a sheet shows what the manifest lists now. ValueError where it does not."""
    if shown.outlet != listing.outlet:
        raise ValueError("it is another outlet's")
    pictures = {f"{one.frame}/{own.rendition}": own.key for one in shown.frames for own in one.renditions}
    now = {one.name: one.picture_key for one in listing.renditions if one.refused is None}
    for name in dict.fromkeys((*now, *pictures)):
        if name not in pictures:
            raise ValueError(f"it does not show {name}")
        if name not in now:
            raise ValueError(f"it still shows {name[:_LONG]}")
        if pictures[name] != now[name]:
            raise ValueError(f"it shows an earlier picture of {name}")
    said = _plain(words)
    for one in listing.chosen:
        for text in (one.facts.alt, one.facts.description) if one.facts and one.beside is None else ():
            if text and _plain(text) not in said:
                wanted = f"the files say '{_plain(text)[:_SHORT]}'"
                raise ValueError(f"its words on {one.name} are not of today: {wanted}")


def _plain(text: str) -> str:
    """Return words as a page shows them: what HTML cannot hold replaced, white space as single blanks."""
    return " ".join(printable(text).split())
