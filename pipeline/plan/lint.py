"""A second look at alt texts and captions: what a program can tell, with why and where it is written.

Sources: [WCAG] techniques and failures by their numbers, [IPTC] for the length; those without are common practice.
"""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

LONGEST_ALT = 250
PLACEHOLDER = re.compile(r"(image|picture|photo|spacer|img|dsc|untitled|intro)?[\s#_-]*\d*", re.IGNORECASE)
ANNOUNCES = re.compile(r"(an?|the)?\s*(image|picture|photo|photograph|shot)s?\s+(of|showing)\b", re.IGNORECASE)
ENDING = re.compile(r"\.(jpe?g|png|webp|avif|tiff?|heic|dng|raw|gif)$", re.IGNORECASE)


def alt_cautions(alt: str | None, caption: str | None, file: str, *, decorative: bool) -> Iterator[str]:
    """Yield what is doubtful about the alt text of one frame (None where nothing is written)."""
    if decorative:
        if alt and alt.strip():
            yield "it is decorative and has an alt text: only one of the two can be meant (WCAG F39)"
        return
    if alt is None or not alt:
        yield "no alt text: write one, or say decorative = true (WCAG 1.1.1)"
        return
    words = alt.strip()
    if not words:
        yield "the alt text is white space only: write what is to be seen, or say decorative = true (WCAG F30)"
        return
    if words != alt:
        yield "the alt text begins or ends with white space: it will be written without"
    if words.lower() in {file.lower(), PurePath(file).name.lower(), PurePath(file).stem.lower()} or ENDING.search(
        words
    ):
        yield "the alt text is a file name: say what is to be seen (WCAG F30)"
    elif PLACEHOLDER.fullmatch(words):
        yield "the alt text says nothing about the picture: say what is to be seen (WCAG F30)"
    if ANNOUNCES.match(words):
        yield (
            "the alt text announces a picture, which a screen reader does already: "
            "begin with what is to be seen (W3C alt tips)"
        )
    if len(words) > LONGEST_ALT:
        yield (
            f"the alt text has {len(words)} characters, more than {LONGEST_ALT}: put the most important first, "
            "and the rest in long_alt (IPTC)"
        )
    if caption and words == caption.strip():
        yield "the alt text repeats the caption, so it is heard twice: say what the caption does not (W3C alt tips)"


def shared_alts(alts: Iterable[tuple[str, str | None]]) -> dict[str, str]:
    """Return a caution for each frame (by slug) whose alt text another frame has as well. `alts` are (slug, alt)."""
    by_words: dict[str, list[str]] = {}
    for slug, alt in alts:
        if alt and alt.strip():
            by_words.setdefault(alt.strip(), []).append(slug)
    return {
        slug: f"its alt text is also that of {_others(slugs, slug)}: say what sets them apart"
        for slugs in by_words.values()
        if len(slugs) > 1
        for slug in slugs
    }


def _others(slugs: list[str], slug: str) -> str:
    return ", ".join(other for other in slugs if other != slug)
