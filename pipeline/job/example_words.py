"""The words that stand in a first job file as examples, to be written over: none of them belongs in a picture."""

from __future__ import annotations

NAME, SITE = "Your Name", "your-site.example"
PARTNER, DISCLOSURE = "Partner's name", "Advertisement ..."
LEFT_OPEN = "..."


def is_example(words: str) -> bool:
    """Return whether words are still those of a first job file, as they stood or in part."""
    return words.strip() in {PARTNER, DISCLOSURE, LEFT_OPEN} or NAME in words or SITE in words
