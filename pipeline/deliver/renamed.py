"""Delivered files moved to the names that the job gives them now: only where she asks for it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.write import inside, set_aside
from pipeline.plan.files import identity, made_from

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from pipeline.ledger.book import Ledger
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan


def rename_delivered(plan: Plan, out: Path, ledger: Ledger, made: dict[str, Made]) -> tuple[tuple[str, str], ...]:
    """Move delivered files to the names that the job gives them now; return old and new paths."""
    moves = [(row, path) for row, path in _named_otherwise(plan, made) if inside(out, row.path).is_file()]
    for row, path in moves:
        place = inside(out, path)
        place.parent.mkdir(parents=True, exist_ok=True)
        known = made.get(path)
        set_aside(out, path, b"", known.sha256 if known else None)
        inside(out, row.path).replace(place)
        ledger.record([replace(row, path=path)])
    return tuple((row.path, path) for row, path in moves)


def _named_otherwise(plan: Plan, made: Mapping[str, Made]) -> Iterator[tuple[Made, str]]:
    """Yield what was delivered under another name than the plan's, with that name."""
    by_identity = {row.identity: row for row in made.values()}
    for frame in plan.frames:
        for rendition in frame.renditions:
            for output in rendition.outputs:
                name = f"{rendition.outlet}/{rendition.target}"
                row = by_identity.get(identity(made_from(frame, rendition), name, output.size, output.format))
                if row and row.path != output.path:
                    yield row, output.path
