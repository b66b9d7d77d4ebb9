"""Words that a file can carry and that show something: what a job may say, judged without loading its model."""

from __future__ import annotations

import re

LONGEST_WORDS = 65536
NOT_IN_XML = re.compile("[\x00-\x08\x0b-\x1f\x7f\x80-\x9f\ufffe\uffff\ud800-\udfff]")


def plain(text: str) -> str:
    """Refuse control characters: XML 1.0 cannot hold most of them, and none belongs in a caption."""
    found = NOT_IN_XML.search(text)
    if found:
        raise ValueError(f"it holds the control character U+{ord(found.group()):04X}; write plain text")
    return text


def plain_words(text: str) -> str:
    """Refuse what shows nothing."""
    if text and not text.strip():
        raise ValueError("write some words")
    return plain(text)


def are_words(value: object) -> bool:
    """Return whether a value is text that a job may give where it wants words."""
    if not isinstance(value, str) or not 1 <= len(value) <= LONGEST_WORDS:
        return False
    try:
        plain_words(value)
    except ValueError:
        return False
    return True
