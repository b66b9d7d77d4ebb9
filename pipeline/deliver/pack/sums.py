"""Checksums in the form that `sha256sum --check` reads (GNU coreutils; one line a file, in text mode)."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


def sums_text(digests: Mapping[str, str]) -> bytes:
    """Return a line for each file: its SHA-256 in hex, two blanks, its name; in the order given."""
    return "".join(f"{digest}  {name}\n" for name, digest in digests.items()).encode()
