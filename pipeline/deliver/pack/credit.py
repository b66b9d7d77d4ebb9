"""Credit and terms as plain text, for whoever uses the pictures and does not read metadata.

What holds for every picture stands first and once, the rest with each picture. The words are the photographer's.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.faults import counted
from pipeline.plan.days import in_words

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Sequence

    from pipeline.deliver.pack.contact_sheet import ContactSheet
    from pipeline.deliver.pack.listing import Listed, Listing

_OF_ONE_PICTURE = frozenset({"Title", "Alt text", "Caption"})
_CAUTION = (
    "These are the photographer's words, as her files carry them. Whether terms, credit and disclosure are enough is\n"
    "for her and for whoever publishes to settle under their own local rules; this text is no legal advice."
)


def credit_text(
    listing: Listing, packed: Collection[str], sheet: ContactSheet | None, overridden: Sequence[str]
) -> bytes:
    """Return the text, as UTF-8. A value of several lines is indented, so that none can pass for a line of its own."""
    return ("\n".join(_lines(listing, packed, sheet, overridden)) + "\n").encode()


def _lines(
    listing: Listing, packed: Collection[str], sheet: ContactSheet | None, overridden: Sequence[str]
) -> Iterator[str]:
    said = [dict(_said(listing, one)) for one in listing.chosen]
    shared = {
        label: text
        for label, text in said[0].items()
        if label not in _OF_ONE_PICTURE and all(one.get(label) == text for one in said)
    }
    files = sum(file.path in packed for one in listing.chosen for file in one.files)
    yield f"{_one_line(listing.title)}: credit and terms"
    round_ = f", round {sheet.round_number}" if sheet else ""
    pictures = counted(len(listing.chosen), "picture")
    day = f", {in_words(listing.date)}" if listing.date else ""
    yield f"{pictures} in {counted(files, 'file')} for {listing.outlet}{round_}{day}"
    yield from ("", _CAUTION)
    if overridden:
        yield from ("", "Packed although:", *(f"  - {_indented(sentence, 4)}" for sentence in overridden))
    if shared:
        yield from ("", "For every picture:", *_labelled(shared))
    for number, (one, own) in enumerate(zip(listing.chosen, said, strict=True), start=1):
        yield from ("", f"{number}. {one.frame}, {one.target.partition('/')[2]}")
        yield from (f"  {file.path}" for file in one.files if file.path in packed)
        yield from _labelled({label: text for label, text in own.items() if label not in shared})


def _said(listing: Listing, one: Listed) -> Iterator[tuple[str, str]]:
    """Give what is to be said of a rendition, each with its label; nothing of what its files are silent about."""
    facts = one.facts
    if facts is None:
        return
    creators = ", ".join(facts.creators)
    labelled = (
        ("Title", facts.title if facts.title != listing.title else None),
        ("Alt text", "none: the picture is decoration" if facts.decorative else facts.alt),
        ("Caption", facts.description),
        ("Creator", f"{creators} ({facts.creator_title})" if creators and facts.creator_title else creators),
        ("With", ", ".join(f"{other.name} ({other.role})" for other in facts.contributors)),
        ("Credit line", facts.credit_line),
        ("Copyright", facts.copyright),
        ("Copyright owner", facts.owner),
        ("Licence", facts.licence_url),
        ("Terms of use", facts.usage_terms),
        ("Licensor", facts.licensor),
        ("To license it", facts.acquire_url),
        ("Not before", in_words(one.not_before) if one.not_before else None),
        ("Licence ends", in_words(one.licence_ends) if one.licence_ends else None),
        ("Paid for by", listing.sponsor.name if listing.sponsor else None),
        ("To be disclosed as", listing.sponsor.disclosure if listing.sponsor else None),
    )
    yield from ((label, text) for label, text in labelled if text)


def _labelled(said: dict[str, str]) -> Iterator[str]:
    yield from (f"  {label}: {_indented(text, 6)}" for label, text in said.items())


def _indented(text: str, by: int) -> str:
    return f"\n{' ' * by}".join(text.splitlines())


def _one_line(text: str) -> str:
    return " ".join(text.splitlines())
