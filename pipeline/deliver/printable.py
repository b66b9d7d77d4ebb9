"""Text as an HTML document can hold it."""

from __future__ import annotations

import re

# What HTML does not allow in text: control characters but tab and line feed, lone surrogates, noncharacters (the last
# two code points of every plane among them). Source: HTML Living Standard 13.2.3.5.
_LAST_TWO = "".join(f"{chr(plane + 0xFFFE)}{chr(plane + 0xFFFF)}" for plane in range(0, 0x110000, 0x10000))
_UNPRINTABLE = re.compile(rf"[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef{_LAST_TWO}]")


def printable(text: str) -> str:
    """Return text as HTML can hold it: one kind of line end, and U+FFFD for what no document may contain."""
    if text.isascii() and text.isprintable():
        return text
    return _UNPRINTABLE.sub("\N{REPLACEMENT CHARACTER}", text.replace("\r\n", "\n").replace("\r", "\n"))
