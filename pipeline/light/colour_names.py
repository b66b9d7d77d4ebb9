"""What a target's `colour` may be by itself, and how each is called in words. Loads nothing: every verb needs it."""

from __future__ import annotations

BUILT_IN = {"srgb": "sRGB", "display-p3": "Display P3", "adobe-rgb": "Adobe RGB", "grey": "grey"}


def display_name(colour: str) -> str:
    """Return a target's colour in words; an ICC profile of the job's goes by the name that the job gives it."""
    return BUILT_IN.get(colour, colour)
