"""The manifest with other captions: what it says of some frames' files said anew, everything else letter for letter."""

from __future__ import annotations

import json
from json.encoder import encode_basestring
from typing import TYPE_CHECKING, Any

from pipeline.deliver.json_text import json_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from pipeline.deliver.reworded.captions import Captions
    from pipeline.ledger.made import Made

DEPTH = 2
_BEGIN, _END = b'\n  {\n   "frame": ', b"\n  }"


def reworded_manifest(data: bytes, said: Mapping[str, Captions], made: Mapping[str, Made]) -> bytes | None:
    """Return a manifest in which frames, by slug, have these captions, and files are others, by path.

    None where it is not one that we wrote. Pure.
    """
    head, *parts = data.split(_BEGIN)
    slugs = {encode_basestring(slug).encode(): slug for slug in said}
    told = [head]
    for part in parts:
        slug = slugs.get(part[: part.find(b",\n")])
        told.append(_reworded(part, said[slug], made) if slug else part)
    return None if b"" in told else _BEGIN.join(told)


def _reworded(part: bytes, captions: Captions, made: Mapping[str, Made]) -> bytes:
    """Return what is said of one rendition, from the name of its frame on; empty where it cannot be what we said."""
    inside, end, after = part.rpartition(_END)
    rendition: dict[str, Any] = json.loads(b'{"frame": ' + inside + b"}")
    if _after_begin(rendition) != inside or not isinstance(rendition["facts"], dict):
        return b""
    if rendition["beside"] is None:
        captions.in_manifest(rendition["facts"])
    for file in rendition["files"]:
        row = made.get(file["path"])
        if row is None:
            continue
        if row.picture_sha256 != file["picture_sha256"]:
            return b""
        file["sha256"], file["bytes"] = row.sha256, row.size_bytes
    return _after_begin(rendition) + end + after


def _after_begin(rendition: Mapping[str, Any]) -> bytes:
    return json_text(rendition, DEPTH).encode().removeprefix(b'{\n   "frame": ').removesuffix(_END)
