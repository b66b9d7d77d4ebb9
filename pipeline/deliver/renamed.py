"""Delivered files moved to the names that the job gives them now: only where she asks for it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.deliver.tasks import can_be_read, engine_versions, pixel_key_of
from pipeline.deliver.write import inside, set_aside
from pipeline.plan.files import identity, made_from

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from pipeline.ledger.book import Ledger
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan, Rendition


def rename_delivered(
    plan: Plan, out: Path, ledger: Ledger, made: Mapping[str, Made], contents: Mapping[str, str]
) -> tuple[tuple[str, str], ...]:
    """Move delivered files to the names that the job gives them now; return old and new paths.

    `contents` are the digests of the frames' files by slug.
    """
    named_otherwise = _named_otherwise(plan, made, contents)
    moves = [(row, path) for row, path in named_otherwise if inside(out, row.path).is_file()]
    for row, path in moves:
        place = inside(out, path)
        place.parent.mkdir(parents=True, exist_ok=True)
        known = made.get(path)
        set_aside(out, path, b"", known.sha256 if known else None)
        inside(out, row.path).replace(place)
        ledger.record([replace(row, path=path)])
    return tuple((row.path, path) for row, path in moves)


def _named_otherwise(plan: Plan, made: Mapping[str, Made], contents: Mapping[str, str]) -> Iterator[tuple[Made, str]]:
    """Yield what was delivered under another name than the plan's, with that name."""
    by_identity = {row.identity: row for row in made.values()}
    planned = [(frame, one, output) for frame in plan.frames for one in frame.renditions for output in one.outputs]
    wanted = [
        identity(made_from(frame, one), _target(one), output.size, output.format) for frame, one, output in planned
    ]
    left = _left_over(made, frozenset(wanted))
    engine = engine_versions()
    for known_as, (frame, rendition, output) in zip(wanted, planned, strict=True):
        row = by_identity.get(known_as)
        if row is None and can_be_read(frame, rendition, contents):
            pixel_key = pixel_key_of(frame, rendition, output, contents, engine)
            row = left.pop((made_from(frame, rendition), rendition.outlet, pixel_key), None)
        if row and row.path != output.path:
            yield row, output.path


def _target(rendition: Rendition) -> str:
    return f"{rendition.outlet}/{rendition.target}"


def _left_over(made: Mapping[str, Made], wanted: frozenset[str]) -> dict[tuple[str, str, str], Made]:
    """Return what the plan makes no longer by source, outlet and pixels: files of a target that has another name."""
    left: dict[tuple[str, str, str], Made] = {}
    for row in made.values():
        if row.identity not in wanted:
            source, target, _width, _format = row.identity.rsplit(" | ", 3)
            left.setdefault((source, target.partition("/")[0], row.pixel_key), row)
    return left
