"""A cell of a table for spreadsheets: what may stand in it, and how RFC 4180 writes it."""

from __future__ import annotations

import re

from pipeline.deliver.printable import printable

_FORMULA = ("=", "+", "-", "@")
_QUOTED = re.compile('[,"\r\n]')


def cell_text(text: str | None) -> str:
    """Return a text as a cell holds it: one that a spreadsheet would take for a formula has an apostrophe in front."""
    text = printable(text or "").strip()
    return f"'{text}" if text.startswith(_FORMULA) else text


def quoted_cell(text: str) -> str:
    """Return a cell of a row of several, in quotes where it needs them."""
    return '"{}"'.format(text.replace('"', '""')) if _QUOTED.search(text) else text
