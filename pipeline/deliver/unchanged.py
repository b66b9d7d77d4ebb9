"""Whether a frame is still the file whose content was digested: it may be saved anew while an export is at work."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from pipeline.faults import Fault, FrameUnreadable
from pipeline.ledger.book import content_stamp

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

    from pipeline.ledger.book import ContentStamp


def stamps(paths: Iterable[Path]) -> dict[Path, ContentStamp]:
    """Return the stamp of each file that is there. Take them before the content is digested."""
    found: dict[Path, ContentStamp] = {}
    for path in paths:
        with contextlib.suppress(OSError):  # told where it is digested
            found[path] = content_stamp(path)
    return found


def see_unchanged(path: Path, name: str, before: Mapping[Path, ContentStamp]) -> None:
    """See that a file is as it was `before`, where that is known. Raises `FrameUnreadable`. Call it after decoding."""
    if path not in before:
        return
    try:
        if content_stamp(path) == before[path]:
            return
        found = "it was changed while the export was at work"
    except OSError as error:
        found = f"it went away while the export was at work ({(error.strerror or str(error)).lower()})"
    raise FrameUnreadable(Fault(name, found, "run export again when it is there and whole"))
