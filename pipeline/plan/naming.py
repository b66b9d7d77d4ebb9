"""Names of files that are found: what the dish is, what the picture shows, what it is for, how wide it is."""

from __future__ import annotations

LONGEST_NAME = 80


def file_name(template: str, *, slug: str, frame: str, outlet: str, target: str, width: int, height: int) -> str:
    """Return a name without its ending: a-z, 0-9 and hyphens, at most 80 characters.

    A name that is too long loses words off the end of the shoot's slug, then of the frame's, then letters of
    what is left of each: what the picture is for and how wide it is always stay.
    """
    while True:
        name = template.format(slug=slug, frame=frame, outlet=outlet, target=target, width=width, height=height)
        name = "-".join(filter(None, name.split("-")))
        if len(name) <= LONGEST_NAME:
            return name
        excess = len(name) - LONGEST_NAME
        if "-" in slug:
            slug = _without_words(slug, excess)
        elif "-" in frame:
            frame = _without_words(frame, excess)
        elif len(slug) > 1:
            slug = slug[: max(1, len(slug) - excess)]
        elif len(frame) > 1:
            frame = frame[: max(1, len(frame) - excess)]
        else:
            return name[-LONGEST_NAME:].lstrip("-")


def _without_words(slug: str, excess: int) -> str:
    """Return the slug without its last words, so many that at least `excess` letters go; the first word stays."""
    short = slug[: max(0, len(slug) - excess) + 1]
    return short.rpartition("-")[0] or slug.partition("-")[0]
