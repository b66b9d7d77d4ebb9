"""What was said in earlier rounds, as the sheet shows it, and which answers are carried over into this one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.sheet.drawing import Spots, spots_drawn
from pipeline.deliver.sheet.links import Links, Picture
from pipeline.deliver.sheet.words import VERDICTS, day_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.deliver.review.state import Review, Standing


@dataclass(frozen=True, slots=True)
class Earlier:
    """What one reviewer said before: the words, and the print it was said of where that is another one by now."""

    when: str
    verdict: str
    note: str
    who: str
    since: str
    picture: Picture | None
    spots: Spots


def earlier(review: Review, item: str, number: int, links: Links) -> tuple[Earlier, ...]:
    """Return what was said before of a frame (its slug) or a rendition (its name), newest first."""
    return tuple(_earlier(review, one, number, links) for one in review.standings.get(item, ()))


def carried(standings: Sequence[Standing]) -> Standing | None:
    """Return the answer that still holds: the newest one, where all who answered and whose answers hold agree."""
    standing = [one for one in standings if one.stands]
    return standing[0] if len({one.verdict for one in standing}) == 1 else None


def _earlier(review: Review, one: Standing, number: int, links: Links) -> Earlier:
    alt = f"Frame {number} as it was shown in round {one.round_number}"
    return Earlier(
        when=_when(review, one),
        verdict=VERDICTS[one.verdict],
        note=one.note,
        who=f"{one.reviewer}, {day_in_words(one.date)}",
        since=_since(one),
        picture=Picture(links.to(one.before.path), one.before.size, alt) if one.before else None,
        spots=spots_drawn(one.spots),
    )


def _since(one: Standing) -> str:
    if one.stands:
        return "The picture is the same, so this holds."
    return "The picture has changed since." if one.before else "Not every picture here is one that it was said of."


def _when(review: Review, one: Standing) -> str:
    if one.round_number == review.number:
        return "This round"
    return "Last round" if one.round_number == review.number - 1 else f"Round {one.round_number}"
