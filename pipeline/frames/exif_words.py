"""The words of a frame's Exif, as far as they are ours to take: what it shows, who made it, when, how good it is.

Sources: [EXIF3] CIPA DC-008 (tags); XMP Specification Part 3 (2020) 3.2.3 (UTF-8 in ASCII strings, names joined by
"; ", the NUL between photographer and editor of a copyright); Metadata Working Group 2.0 (quotes around a name that
holds the separator; from memory). 0x4746 is a vendor's rating.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from pipeline.frames.clean import decoded, moment, plain, plain_line, plain_list, stars
from pipeline.frames.tiff import TEXTS
from pipeline.frames.words import Words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.frames.camera_facts import Source

MAKE, DESCRIPTION, ARTIST, COPYRIGHT, RATING = 0x010F, 0x010E, 0x013B, 0x8298, 0x4746
TAKEN, TAKEN_OFFSET, TAKEN_FRACTION = 0x9003, 0x9011, 0x9291

_NAME = re.compile(r'\s*(?:"((?:[^"]|"")*)"\s*(?:;|$)|(.*?)(?:; |;?$))', re.DOTALL)


def exif_words(sources: Sequence[Source]) -> Words:
    """Return what several directories say; where two have the same field the earlier one counts. Never raises."""
    return Words(
        description=plain(_text(sources, DESCRIPTION)),
        creators=plain_list(names(_text(sources, ARTIST))),
        copyright=plain("\n".join(part for part in _text(sources, COPYRIGHT).split("\0") if part.strip())),
        date_created=_taken(sources),
        rating=stars(_number(sources, RATING)),
    )


def factory_words(sources: Sequence[Source]) -> str | None:
    """Return a description that the camera wrote by itself: capitals that begin with the word for its maker.

    Many cameras fill the field so, and it says nothing of the picture. Common practice, no source.
    """
    description, make = _text(sources, DESCRIPTION).rstrip("\0 "), _text(sources, MAKE).rstrip("\0 ")
    maker = make.split()[:1]
    is_factory = maker and description == description.upper() and description.split()[:1] == [maker[0].upper()]
    return plain(description) if is_factory else None


def names(artists: str) -> list[str]:
    """Return the names of an Artist field: parted by "; ", a name that holds that itself in doubled quotes."""
    text, found, at = artists.rstrip("\0 "), list[str](), 0
    while at < len(text) and (match := _NAME.match(text, at)) and match.end() > at:
        found.append(match[1].replace('""', '"') if match[1] is not None else match[2])
        at = match.end()
    return found


def _text(sources: Sequence[Source], tag: int) -> str:
    """Return the first text of a tag with something in it, NULs and all; "" where there is none."""
    for tiff, directory in sources:
        entry = directory.entries.get(tag)
        if entry is not None and entry.type in TEXTS and (text := decoded(tiff.data(entry))).strip("\0 \t\r\n"):
            return text
    return ""


def _number(sources: Sequence[Source], tag: int) -> str | None:
    values = (tiff.number(directory.entries.get(tag)) for tiff, directory in sources)
    return next((str(value) for value in values if value is not None), None)


def _taken(sources: Sequence[Source]) -> str | None:
    """Return ISO 8601 of when the picture was taken, with part of a second and offset where the Exif has them."""
    taken, offset, part = (
        (plain_line(_text(sources, tag).partition("\0")[0]) or "") for tag in (TAKEN, TAKEN_OFFSET, TAKEN_FRACTION)
    )
    day, _, time = taken.partition(" ")
    seconds = f"{day.replace(':', '-')}T{time}"
    fraction = f".{part[:9]}" if part.isdecimal() and part.isascii() and int(part) else ""
    return next((when for end in (fraction + offset, offset, "") if (when := moment(seconds + end))), None)
