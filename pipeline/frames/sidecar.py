"""The sidecar of a frame: a packet of XMP in a file of its own beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

MAX_SIDECAR_BYTES = 4 << 20
ENDINGS = (".xmp", ".XMP")


def sidecar_places(path: Path) -> list[Path]:
    """Return where the sidecar of a frame may be, the first that is there being it."""
    names = [path.name + ending for ending in ENDINGS] + [path.stem + ending for ending in ENDINGS]
    return [path.parent / name for name in names]


def find_sidecar(path: Path) -> Path | None:
    """Return the sidecar of a frame: `bowl.jpg.xmp`, which names the frame whole, or else `bowl.xmp`; None without."""
    for candidate in sidecar_places(path):
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
