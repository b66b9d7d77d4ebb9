"""A second look at alt texts and captions: what a program can tell, with why and where it is written.

Sources: [WCAG] techniques and failures by their numbers, [IPTC] for the length; those without are common practice.
"""

from __future__ import annotations

import re
from pathlib import PurePath
from typing import TYPE_CHECKING

from pipeline.job.example_words import is_example

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from pipeline.job.model import Sponsor
    from pipeline.plan.facts import PictureFacts

LONGEST_ALT = 250
CREDIT_WORDS = {
    "credit_line": "credit line",
    "copyright": "copyright",
    "licence_url": "address of the licence",
    "acquire_url": "address where a licence can be had",
    "usage_terms": "text of the terms of use",
}
PLACEHOLDER = re.compile(r"(image|picture|photo|spacer|img|dsc|untitled|intro)?[\s#_-]*\d*", re.IGNORECASE)
ANNOUNCES = re.compile(r"(an?|the)?\s*(image|picture|photo|photograph|shot)s?\s+(of|showing)\b", re.IGNORECASE)
ENDING = re.compile(r"\.(jpe?g|png|webp|avif|tiff?|heic|dng|raw|gif)$", re.IGNORECASE)


def word_cautions(alt: str | None, caption: str | None, file: str, *, decorative: bool) -> Iterator[str]:
    """Yield what is doubtful about the caption and the alt text of one frame (None where nothing is written)."""
    if caption and not _has_words(caption):
        yield "the caption says nothing: write one, or leave it out"
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
    elif PLACEHOLDER.fullmatch(words) or not _has_words(words):
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


def example_cautions(facts: PictureFacts, sponsor: Sponsor | None) -> Iterator[str]:
    """Yield which words of the credit and of a paid post are still the examples of a first job file."""
    own = "write your own, or leave it out"
    said = [("creator", name, own) for name in facts.creators]
    said += [(word, getattr(facts, name), own) for name, word in CREDIT_WORDS.items()]
    if sponsor:
        said.append(("name of the partner", sponsor.name, "write who paid"))
        said.append(("disclosure", sponsor.disclosure, "write the words that are due by your local rules"))
    for word, value, wanted in said:
        if value and is_example(value):
            yield f'the {word} is still an example ("{value}"): {wanted}'


def _has_words(text: str) -> bool:
    return any(letter.isalnum() for letter in text)


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
