"""The sidecar of a frame: a packet of XMP in a file of its own beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

MAX_SIDECAR_BYTES = 4 << 20
ENDINGS = (".xmp", ".XMP")


def find_sidecar(path: Path) -> Path | None:
    """Return the sidecar of a frame: `bowl.jpg.xmp`, which names the frame whole, or else `bowl.xmp`; None without."""
    names = [path.name + ending for ending in ENDINGS] + [path.stem + ending for ending in ENDINGS]
    for name in names:
        candidate = path.parent / name
        try:
            if candidate.is_file():
                return candidate
        except (OSError, ValueError):
            continue
    return None


def read_sidecar(path: Path) -> bytes | None:
    """Return what a sidecar holds; None where it cannot be opened or is larger than MAX_SIDECAR_BYTES."""
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_SIDECAR_BYTES + 1)
    except OSError:
        return None
    return data if len(data) <= MAX_SIDECAR_BYTES else None
