"""How much a file of hers may hold, where more than one reader asks."""

from __future__ import annotations

LONGEST_FILE = 4_000_000  # bytes of a TOML file; a long job of a hundred frames has 100 000
