"""What the ledger knows of a round: which pictures one contact sheet showed."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from dataclasses import astuple, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.ledger.tables import SHOWN_COLUMNS
from pipeline.light.box import Box, Size

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

_PLACES = ", ".join("?" * len(SHOWN_COLUMNS.split()))
_DIGEST, _PICTURE_KEY = re.compile(r"[0-9a-f]{64}"), re.compile(r"[0-9a-f]{32}")
_RENDITION = re.compile(r"[a-z0-9-]+/[a-z0-9-]+/[a-z0-9-]+")


@dataclass(frozen=True, slots=True)
class Shown:
    """One picture as a sheet showed it.

    `rendition` is its name, `frame/outlet/target` (`frame/sheet/whole` for a whole frame), `picture_key` what
    decides the picture, `preview_sha256` the digest of the preview's file (None where there was none) and `preview`
    its size in pixels; `box` is where it was cut from its upright frame turned by `turn_deg` (clockwise), in source
    pixels, None where it shows two frames.
    """

    rendition: str
    picture_key: str
    preview_sha256: str | None
    preview: Size
    box: Box | None
    turn_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Round:
    """What one sheet showed. `outlet` is None for her own sheet; `number` counts 1, 2, ... for each outlet."""

    id: str
    outlet: str | None
    number: int
    shown: tuple[Shown, ...]


def read_rounds_from(base: sqlite3.Connection) -> tuple[Round, ...]:
    """Return every round, by outlet and number. Raises sqlite3.Error for rows that we could not have written."""
    shown: dict[tuple[str, str], list[Shown]] = {}
    with closing(base.execute(f"SELECT {SHOWN_COLUMNS} FROM shown ORDER BY rowid")) as rows:  # noqa: S608 (a constant)
        for row in rows:
            shown.setdefault((row[0], row[1]), []).append(_sound(row))
    with closing(base.execute("SELECT id, outlet, number FROM round ORDER BY outlet, number")) as rows:
        found = [
            Round(identity, outlet or None, number, tuple(shown.get((identity, outlet), ())))
            for identity, outlet, number in rows
        ]
    if not all(_DIGEST.fullmatch(str(one.id)) and isinstance(one.number, int) and one.number > 0 for one in found):
        raise sqlite3.DatabaseError("what it says of a round cannot be so")
    return tuple(found)


def _sound(row: Sequence[Any]) -> Shown:
    _, _, rendition, picture_key, digest, width, height, *sides, turn_deg = row
    texts = _RENDITION.fullmatch(str(rendition)) and _PICTURE_KEY.fullmatch(str(picture_key))
    if not (texts and (digest is None or _DIGEST.fullmatch(str(digest)))):
        raise sqlite3.DatabaseError("what it says of a picture that was shown cannot be so")
    numbers = [width, height] if set(sides) == {None} else [width, height, *sides]
    if not all(isinstance(number, int) and number >= 0 for number in numbers) or not isinstance(turn_deg, float):
        raise sqlite3.DatabaseError("what it says of the size of a picture that was shown cannot be so")
    box = Box(*sides) if len(numbers) > 2 else None
    return Shown(rendition, picture_key, digest, Size(width, height), box, turn_deg)


def write_round_to(base: sqlite3.Connection, round_id: str, outlet: str | None, shown: Iterable[Shown]) -> Round:
    """Keep what a sheet shows; a round that is known keeps its number. The caller holds the transaction."""
    where = (round_id, outlet or "")
    row = base.execute("SELECT number FROM round WHERE id = ? AND outlet = ?", where).fetchone()
    if row is None:
        row = base.execute("SELECT coalesce(max(number), 0) + 1 FROM round WHERE outlet = ?", where[1:]).fetchone()
        base.execute("INSERT INTO round (id, outlet, number) VALUES (?, ?, ?)", (*where, row[0]))
    kept = Round(round_id, outlet, row[0], tuple(shown))
    base.execute("DELETE FROM shown WHERE round = ? AND outlet = ?", where)
    for one in kept.shown:
        box = astuple(one.box) if one.box else (None,) * 4
        values = (one.preview.width, one.preview.height, *box, one.turn_deg)
        base.execute(
            f"INSERT INTO shown ({SHOWN_COLUMNS}) VALUES ({_PLACES})",  # noqa: S608 (constants)
            (*where, one.rendition, one.picture_key, one.preview_sha256, *values),
        )
    return kept
