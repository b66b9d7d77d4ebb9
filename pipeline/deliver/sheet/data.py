"""What the page's script works with, in one block of JSON: the round, its pictures, the answers carried over."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.printable import printable
from pipeline.deliver.sheet.card import PHONE_PX
from pipeline.deliver.sheet.standing import carried

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pipeline.deliver.review.state import Review, Standing
    from pipeline.deliver.sheet.card import Card
    from pipeline.deliver.sheet.entry import Entry


def page_data(title: str, review: Review, entries: Sequence[Entry], *, single: bool) -> str:
    """Return JSON that no text in it can end: it stands inside a script element, where `<` is written as an escape."""
    data = {
        "round": review.round_id,
        "number": review.number,
        "outlet": review.outlet,
        "shoot": printable(title),
        "single": single,
        "phone": PHONE_PX,
        "frames": [{"frame": one.slug, "renditions": [_rendition(card) for card in _shown(one)]} for one in entries],
        "carried": {
            item: _answer(standing)
            for item, standings in sorted(review.standings.items())
            if (standing := carried(standings))
        },
    }
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c").replace(">", "\\u003e")


def _shown(entry: Entry) -> list[Card]:
    """Return the renditions of this round: what is not shown (it is refused, or cannot be read) is not answered."""
    return [card for card in entry.cards if card.key is not None]


def _rendition(card: Card) -> dict[str, Any]:
    found: dict[str, Any] = {"rendition": card.item, "key": card.key}
    if card.full:
        found["full"] = [card.full.size.width, card.full.size.height]
    if card.phone != PHONE_PX:
        found["phone"] = card.phone
    found["at"] = [round(min(max(part, 0.0), 1.0), 3) for part in card.focus]
    return found


def _answer(standing: Standing) -> dict[str, Any]:
    return {
        "verdict": standing.verdict,
        "note": printable(standing.note),
        "spots": [list(spot.at) for spot in standing.spots],
    }
