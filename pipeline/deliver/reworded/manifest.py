"""The manifest with other captions: what it says of some frames' files said anew, everything else letter for letter."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from pipeline.deliver.json_text import json_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.reworded.captions import Captions
    from pipeline.ledger.made import Made

DEPTH = 2
_BEGIN, _END = '\n  {\n   "frame": ', "\n  }"


def reworded_manifest(text: str, said: Mapping[str, Captions], made: Mapping[str, Made]) -> str | None:
    """Return the text of a manifest in which frames, by slug, have these captions, and files are others, by path.

    None where the text is not one that we wrote. Pure.
    """
    head, *parts = text.split(_BEGIN)
    told = [head]
    for part in parts:
        begin, _, _ = part.partition("\n")
        slug = json.loads(begin.removesuffix(","))
        told.append(_reworded(part, said[slug], made) if slug in said else part)
    return None if "" in told else _BEGIN.join(told)


def _reworded(part: str, captions: Captions, made: Mapping[str, Made]) -> str:
    """Return what is said of one rendition, from the name of its frame on; "" where it cannot be what we said."""
    inside, end, after = part.rpartition(_END)
    rendition: dict[str, Any] = json.loads(f'{{"frame": {inside}}}')
    if _after_begin(rendition) != inside or not isinstance(rendition["facts"], dict):
        return ""
    if rendition["beside"] is None:
        captions.in_manifest(rendition["facts"])
    for file in rendition["files"]:
        row = made.get(file["path"])
        if row is None:
            continue
        if row.picture_sha256 != file["picture_sha256"]:
            return ""
        file["sha256"], file["bytes"] = row.sha256, row.size_bytes
    return f"{_after_begin(rendition)}{end}{after}"


def _after_begin(rendition: Mapping[str, Any]) -> str:
    return json_text(rendition, DEPTH).removeprefix('{\n   "frame": ').removesuffix(_END)
