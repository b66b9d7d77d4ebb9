"""What the ledger knows of frames that were looked at: JSON, read as strictly as if somebody else had written it."""

from __future__ import annotations

import base64
import dataclasses
import json
import math
import re
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.frames.inspection.likeness import NINTHS, Likeness
from pipeline.frames.inspection.values import Finding, Inspection, Proposal
from pipeline.light.box import Point, Region

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

_HEX = re.compile(r"(?:[0-9a-f]{2}){1,64}")
_NAME = re.compile(r"[a-z][a-z0-9_ -]{0,99}")
LONGEST, MOST, WIDEST = 1_000_000, 1000, 1000


@dataclass(frozen=True, slots=True)
class Looked:
    """One look at a frame: the digest of the frame's file, and that of all that the look was asked with."""

    sha256: str
    asked: str


def read_inspected_from(base: sqlite3.Connection, wanted: Iterable[Looked]) -> dict[Looked, Inspection]:
    """Return what is known of some looks. Raises sqlite3.Error for a row that we could not have written."""
    found: dict[Looked, Inspection] = {}
    for one in wanted:
        row = base.execute(
            "SELECT inspection FROM inspected WHERE sha256 = ? AND asked = ?", (one.sha256, one.asked)
        ).fetchone()
        if row:
            try:
                found[one] = from_json(row[0])
            except (ValueError, TypeError, RecursionError) as error:
                raise sqlite3.DatabaseError("what it says of an inspected frame cannot be so") from error
    return found


def write_inspected_to(base: sqlite3.Connection, found: Mapping[Looked, Inspection]) -> None:
    """Keep what looks at frames gave, in place of what was known of the same. The caller holds the transaction."""
    for one, inspection in found.items():
        values = (one.sha256, one.asked, to_json(inspection))
        base.execute("INSERT OR REPLACE INTO inspected (sha256, asked, inspection) VALUES (?, ?, ?)", values)


def to_json(inspection: Inspection) -> str:
    """Return an inspection as JSON. Raises ValueError for a number that is none."""
    return json.dumps(dataclasses.asdict(inspection), ensure_ascii=False, allow_nan=False, default=_in_base64)


def _in_base64(value: object) -> str:
    if not isinstance(value, bytes):
        raise TypeError(f"{type(value).__name__} has no place in an inspection")
    return base64.b64encode(value).decode()


def from_json(text: object) -> Inspection:
    """Return the inspection that JSON holds. Raises ValueError, TypeError or RecursionError where it is not whole."""
    if not isinstance(text, str) or len(text) > LONGEST:
        raise ValueError("this is no inspection")
    whole = _table(json.loads(text), Inspection)
    proposal, turn_deg, likeness = whole["proposal"], whole["turn_deg"], whole["likeness"]
    return Inspection(
        measures=tuple(_measure(one) for one in _list(whole["measures"])),
        findings=tuple(_finding(one) for one in _list(whole["findings"])),
        proposal=None if proposal is None else _proposal(proposal),
        turn_deg=None if turn_deg is None else _number(turn_deg),
        likeness=None if likeness is None else _likeness(likeness),
    )


def _table(value: Any, kind: type) -> dict[str, Any]:  # noqa: ANN401 (whatever JSON holds)
    names = {field.name for field in dataclasses.fields(kind)}
    if not isinstance(value, dict) or value.keys() != names:
        raise ValueError(f"this is no {kind.__name__}")
    return value


def _list(value: object) -> list[Any]:
    if not isinstance(value, list) or len(value) > MOST:
        raise ValueError("this is no list of ours")
    return value


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError("this is no number")
    return float(value)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("this is no text")
    return value


def _matching(value: object, pattern: re.Pattern[str]) -> str:
    if not pattern.fullmatch(_text(value)):
        raise ValueError("this is no name of ours")
    return _text(value)


def _measure(value: object) -> tuple[str, float]:
    name, number = _list(value)
    return _matching(name, _NAME), _number(number)


def _finding(value: object) -> Finding:
    found = _table(value, Finding)
    level = found["level"]
    if level not in ("fault", "note"):
        raise ValueError("this is no finding")
    return Finding(
        rule=_matching(found["rule"], _NAME),
        level=level,
        number=None if found["number"] is None else _number(found["number"]),
        unit=_text(found["unit"]),
        threshold=None if found["threshold"] is None else _number(found["threshold"]),
        says=_text(found["says"]),
        advice=_text(found["advice"]),
        source=_text(found["source"]),
        where=None if found["where"] is None else _region(found["where"]),
    )


def _proposal(value: object) -> Proposal:
    found = _table(value, Proposal)
    return Proposal(_point(found["subject"]), _region(found["keep"]), _share(found["confidence"]))


def _likeness(value: object) -> Likeness:
    found = _table(value, Likeness)
    width, height = _side(found["width"]), _side(found["height"])
    levels = base64.b64decode(_text(found["levels"]), validate=True)
    blur = tuple(None if one is None else _number(one) for one in _list(found["blur"]))
    if len(levels) != width * height or len(blur) != NINTHS**2 + 1 or any(one is not None and one <= 0 for one in blur):
        raise ValueError("this is no likeness")
    return Likeness(_matching(found["fingerprint"], _HEX), width, height, levels, blur)


def _side(value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= WIDEST:
        raise ValueError("this is no side of a picture")
    return value


def _point(value: object) -> Point:
    found = _table(value, Point)
    return Point(_share(found["x"]), _share(found["y"]))


def _region(value: object) -> Region:
    region = Region(**{name: _share(side) for name, side in _table(value, Region).items()})
    if not (region.left < region.right and region.top < region.bottom):
        raise ValueError("this is no region")
    return region


def _share(value: object) -> float:
    share = _number(value)
    if not 0 <= share <= 1:
        raise ValueError("this is no share")
    return share
