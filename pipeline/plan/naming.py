"""Names of files that are found: what the dish is, what the picture shows, what it is for, how wide it is."""

from __future__ import annotations

import string

LONGEST_NAME = 80
FIELDS = ("slug", "frame", "outlet", "target", "width", "height")


def template_fields(template: str) -> list[str]:
    """Return the fields of a name template in order. Raises ValueError where it is malformed."""
    return [field for _, field, _, _ in string.Formatter().parse(template) if field is not None]


def file_name(template: str, *, slug: str, frame: str, outlet: str, target: str, width: int, height: int) -> str:
    """Return a name without its ending: a-z, 0-9 and hyphens, at most 80 characters.

    A name that is too long loses whole words off the end of the shoot's slug, then of the frame's: what the
    picture is for and how wide it is always stay.
    """
    words, shown = slug.split("-"), frame.split("-")
    while True:
        name = template.format(
            slug="-".join(words),
            frame="-".join(shown),
            outlet=outlet,
            target=target,
            width=width,
            height=height,
        )
        name = "-".join(filter(None, name.split("-")))
        if len(name) <= LONGEST_NAME:
            return name
        if len(words) > 1:
            words.pop()
        elif len(shown) > 1:
            shown.pop()
        else:
            return name[:LONGEST_NAME].rstrip("-")
