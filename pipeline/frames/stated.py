"""What a frame already says of itself, reconciled: one value a field, where it came from, and what contradicted it.

The order is that of the Metadata Working Group's guidelines 2.0 (as ExifTool implements them):
- description, copyright, creators, date: the Exif where it is not blank;
- then XMP, where there is no IIM or the digest stored beside the IIM is absent or true; or else IIM, which then
  was changed after the XMP was written. Where the IIM holds the beginning of the XMP, cut to the length it may
  have, the XMP says the same and more, and is taken.
A sidecar is XMP: its properties go before the embedded ones, because a program that keeps a sidecar does so in order
not to write into the picture, so the sidecar is the later word; and before IIM, because the digest compares what is
inside the file and says nothing of a sidecar. It does not go before the Exif: `name.xmp` may belong to another
file of that name, and the guidelines know no exception. Whatever contradicts the value taken is told.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from pipeline.frames.carried import Carried, carried_in
from pipeline.frames.exif_words import exif_words, factory_words
from pipeline.frames.iim_words import LIMITS, iim_words
from pipeline.frames.sidecar import find_sidecar, read_sidecar
from pipeline.frames.words import EXIF, FIELDS, IIM, SIDECAR, XMP, Stated, Words, compared, quoted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    from pipeline.frames.header import FrameFormat
    from pipeline.frames.words import Value

EXIF_FIRST = {"description", "copyright", "creators", "date_created"}
_MOMENT_PARTS = re.compile(r"(.{10})(?:T(.{8})(\.\d+)?([+-].*)?)?")


def stated_words(path: Path, frame_format: FrameFormat) -> Stated:
    """Return what the frame at `path` and its sidecar say of the picture.

    Never raises on any content: what is malformed is passed over and noted. A file that cannot be opened is silent.
    """
    carried, exif, factory = Carried(), Words(), None
    with suppress(OSError), path.open("rb") as stream:
        carried = carried_in(stream, frame_format)
        exif, factory = exif_words(carried.exif), factory_words(carried.exif)
    notes = list(carried.notes)
    iim = iim_words(carried.iim) if carried.iim else Words()
    embedded = _read_xmp("the XMP", carried.xmp, notes)
    for packet in carried.extended_xmp:
        embedded = _filled(embedded, _read_xmp("the extended XMP", packet, notes))
    sidecar = _sidecar_words(path, notes)
    said = {EXIF: exif, SIDECAR: sidecar, XMP: embedded, IIM: iim}
    if factory:
        said = {origin: _without(words, factory) for origin, words in said.items()}
    return reconciled(said, iim_is_newer=carried.iim_is_newer, notes=notes)


def reconciled(said: Mapping[str, Words], *, iim_is_newer: bool, notes: Sequence[str] = ()) -> Stated:
    """Return one value for each field of what up to four places say; see the rules at the top of this module.

    `said` is by origin. `iim_is_newer` is True where the digest beside the IIM is not that of the IIM.
    """
    order = [SIDECAR, IIM, XMP] if iim_is_newer else [SIDECAR, XMP, IIM]
    values: dict[str, Any] = {}
    origins: list[tuple[str, str]] = []
    conflicts: list[tuple[str, str]] = []
    for field in FIELDS:
        ranked = [EXIF, *order] if field in EXIF_FIRST else [*order, EXIF]
        given = {origin: getattr(said[origin], field) for origin in ranked if origin in said}
        given = {origin: value for origin, value in given.items() if value not in (None, ())}
        if not given:
            continue
        first = next(iter(given))
        taken = next((one for one in given if _says_more(field, given[one], given[first], first)), first)
        values[field] = given[taken]
        origins.append((field, taken))
        if sentence := _conflict(field, given, taken, iim_is_newer=iim_is_newer):
            conflicts.append((field, sentence))
    return Stated(
        **values,
        in_languages=_in_languages(said, values),
        origins=tuple(origins),
        conflicts=tuple(conflicts),
        notes=tuple(notes),
    )


def _says_more(field: str, longer: Value, shorter: Value, origin: str) -> bool:
    """Return whether one value is the whole of what the other one gives only the beginning of.

    So it is with IIM, cut to its octets (`LIMITS`), and with a time beside its day, or with its offset beside without.
    """
    if field == "date_created":
        return len(str(longer)) > len(str(shorter)) and _same_moment(str(longer), str(shorter))
    if origin != IIM or field not in LIMITS:
        return False
    if isinstance(longer, tuple) and isinstance(shorter, tuple):
        pairs = list(zip(longer, shorter, strict=False))
        same_length = len(longer) == len(shorter)
        return (
            same_length
            and longer != shorter
            and all(whole == part or _is_cut(whole, part, LIMITS[field]) for whole, part in pairs)
        )
    return isinstance(longer, str) and isinstance(shorter, str) and _is_cut(longer, shorter, LIMITS[field])


def _same_moment(one: str, other: str) -> bool:
    """Return whether two times differ in nothing that both of them give: day, time, part of a second, offset."""
    parts = [match.groups() for text in (one, other) if (match := _MOMENT_PARTS.fullmatch(text))]
    return len(parts) == 2 and all(a == b for a, b in zip(*parts, strict=True) if a and b)


def _is_cut(whole: str, part: str, limit: int) -> bool:
    """Return whether `part` is the beginning of `whole`, cut near `limit` octets of UTF-8 or of a one-byte encoding.

    A character of UTF-8 has up to four octets, and the cut falls before the one that does not fit.
    """
    sizes = (len(part.encode()), len(part))
    return len(part) < len(whole) and whole.startswith(part) and any(limit - 4 < size <= limit for size in sizes)


def _conflict(field: str, given: Mapping[str, Any], taken: str, *, iim_is_newer: bool) -> str | None:
    """Return who says what, and whose word was taken; None where all agree."""
    voices: dict[Any, list[str]] = {}
    for origin, value in given.items():
        agrees = compared(value) == compared(given[taken]) or _says_more(field, given[taken], value, origin)
        agrees = agrees or (field == "date_created" and _same_moment(value, given[taken]))
        voices.setdefault(compared(given[taken] if agrees else value), []).append(origin)
    if len(voices) == 1:
        return None
    told = ", ".join(
        f"{' and '.join(origins)} {'say' if len(origins) > 1 else 'says'} {quoted(given[origins[0]])}"
        for origins in voices.values()
    )
    name = {"description": "caption", "date_created": "date"}.get(field, field.replace("_", " "))
    return f"{name}: {told}; {_reason(field, taken, given, iim_is_newer=iim_is_newer)}"


def _reason(field: str, taken: str, given: Mapping[str, Any], *, iim_is_newer: bool) -> str:
    if taken == EXIF:
        return "Exif was taken (it goes first for this)" if field in EXIF_FIRST else "Exif was taken"
    if taken == SIDECAR:
        return "the sidecar was taken (it is the later word)"
    if taken == IIM:
        return "IIM was taken (it was changed after the XMP)" if XMP in given and iim_is_newer else "IIM was taken"
    return "XMP was taken (nothing says that the IIM is later)" if IIM in given else "XMP was taken"


def _in_languages(said: Mapping[str, Words], values: Mapping[str, Any]) -> tuple[tuple[str, str, str], ...]:
    """Return the texts by language of the XMP whose default text is the one that was taken."""
    found: dict[tuple[str, str], str] = {}
    for origin in (SIDECAR, XMP):
        words = said.get(origin, Words())
        for field, tag, text in words.in_languages:
            if compared(values[field]) == compared(getattr(words, field)):
                found.setdefault((field, tag), text)
    return tuple((field, tag, text) for (field, tag), text in found.items())


def _without(words: Words, factory: str) -> Words:
    """Return the words without a description that the camera's maker wrote, wherever it was copied to."""
    return replace(words, description=None) if compared(words.description) == compared(factory) else words


def _filled(words: Words, more: Words) -> Words:
    """Return the words with those of a second packet where the first is silent."""
    silent = {name: getattr(more, name) for name in FIELDS if getattr(words, name) in (None, ())}
    tongues = tuple(one for one in more.in_languages if one[0] in silent)
    return replace(words, **silent, in_languages=words.in_languages + tongues)


def _read_xmp(what: str, packet: bytes, notes: list[str]) -> Words:
    """Return the words of a packet; nothing, and a note, where it is none."""
    if not packet:
        return Words()
    from pipeline.frames.xmp_words import xmp_words  # noqa: PLC0415 (lxml; only for frames that carry a packet)

    words = xmp_words(packet)
    if words is None:
        notes.append(f"{what} is damaged and was not read")
        return Words()
    return words


def _sidecar_words(path: Path, notes: list[str]) -> Words:
    """Return the words of the sidecar: `bowl.jpg.xmp`, which names the frame whole, or else `bowl.xmp`."""
    found = find_sidecar(path)
    if found is None:
        return Words()
    packet = read_sidecar(found)
    if packet is None:
        notes.append(f"the sidecar {found.name} cannot be opened or is too large, and was not read")
        return Words()
    from pipeline.frames.xmp_words import belongs_to  # noqa: PLC0415 (lxml; only for frames with a sidecar)

    if belongs_to(packet) not in (None, path.suffix.lstrip(".").lower()):
        notes.append(f"the sidecar {found.name} says that it belongs to another file, and was not read")
        return Words()
    return _read_xmp(f"the sidecar {found.name}", packet, notes)
