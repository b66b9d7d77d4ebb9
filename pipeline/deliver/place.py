"""The output folder: which names in it are ours, and whether a folder is one that we may write our own files into."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.deliver.write import OUR_UNFINISHED, SET_ASIDE
from pipeline.faults import Fault, RequestRefused
from pipeline.ledger.book import FILE as LEDGER

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.plan.rendition import Plan

MANIFEST, SHEET, WEB = "manifest.json", "sheet/index.html", "web/index.html"
LOCK = ".exporting"
OWN_FOLDERS = ("sheet", "web", SET_ASIDE)
OWN_FILES = (MANIFEST, LOCK, LEDGER, f"{LEDGER}-wal", f"{LEDGER}-shm", f"{LEDGER}-journal")
MANIFEST_BEGINS = b'{\n "manifest": '


def planned_paths(plan: Plan) -> Iterator[str]:
    """Yield the path of every file and preview that a plan makes, below the output folder."""
    for frame in plan.frames:
        for rendition in (frame.whole, *frame.renditions):
            yield from (output.path for output in (*rendition.outputs, rendition.preview) if output)


def our_name(real: str, out: Path) -> str | None:
    """Return the name below `out` of a real path that we would write to or sweep away, None for every other."""
    try:
        inside = Path(real).relative_to(os.path.realpath(out))
    except ValueError:
        return None
    ours = str(inside) in OWN_FILES or inside.parts[:1] in {(name,) for name in OWN_FOLDERS}
    return inside.as_posix() if ours or OUR_UNFINISHED.fullmatch(inside.name) else None


def places_of(plan: Plan) -> set[str]:
    """Return the folders below the output folder that a run writes to."""
    return {".", "sheet", "web", *(str(Path(path).parent) for path in planned_paths(plan))}


def refuse_strangers(out: Path) -> None:
    """See that files of our names in `out` are ours. Raises `RequestRefused` with all that are not.

    Where our ledger is, or a manifest that we wrote, the folder is ours; elsewhere a manifest or a page that stands
    there already belongs to somebody else. Links in our places are never followed.
    """
    shown = [*OWN_FOLDERS, *OWN_FILES, SHEET, WEB]
    faults = [
        Fault(
            f"{out}/{name}", "this is a link, which would lead out of the folder", "take it away, or name another --out"
        )
        for name in shown
        if (out / name).is_symlink()
    ]
    if not faults and not (out / LEDGER).exists() and not _begins_as_ours(out / MANIFEST):
        faults = [
            Fault(f"{out}/{name}", "this file was not made by plateline", "name another folder with --out")
            for name in (MANIFEST, SHEET, WEB)
            if (out / name).exists()
        ]
    if faults:
        raise RequestRefused(*faults)


def _begins_as_ours(manifest: Path) -> bool:
    try:
        if not manifest.is_file():
            return False
        with manifest.open("rb") as stream:
            return stream.read(len(MANIFEST_BEGINS)) == MANIFEST_BEGINS
    except OSError:
        return False
