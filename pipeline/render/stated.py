"""What a policy states of a picture, in every container alike, and which words no container could carry.

"public" is for whoever sees the picture, "full" for whoever works with it, "proof" for whoever has to judge it.
"""

from __future__ import annotations

import re
from dataclasses import fields, is_dataclass, replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.plan.facts import PictureFacts, Policy

LEFT_OUT: Mapping[Policy, tuple[str, ...]] = {
    "public": ("job_id", "instructions", "not_before", "rating"),
    "full": (),
    "proof": ("licensor", "acquire_url", "licence_ends", "rating"),
}
# Char of XML 1.0 (fifth edition), production 2, without U+000D: readers turn it into U+000A (2.11, end-of-line
# handling), so it would not be the same in XMP as in Exif and IIM.
_UNWRITABLE = re.compile("[^\t\n\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def stated(facts: PictureFacts, policy: Policy) -> PictureFacts:
    """Return the facts as a policy states them; every other field is None (or empty), as if the job were silent.

    "public" keeps what a viewer may need: words, people, contact (only what the job states), rights, licence and its
    end, date, source. It leaves out what only matters while working with the picture: job id, instructions, the
    day before which it must not be published, rating. "full" keeps everything. "proof" names no way to buy a
    licence: licensor and the licence's end are left out, and the rating, which is a private note; job id,
    instructions and the day of release stay, and the web statement, which says where the terms stand and grants
    nothing by itself. Usage terms and instructions that reserve all rights are the plan's to set.
    A decorative picture has neither alt text nor extended description under any policy.

    ValueError, naming the field, for a character that XML 1.0 cannot hold or would change: see `_UNWRITABLE`.
    """
    changes: dict[str, Any] = dict.fromkeys(LEFT_OUT[policy])
    if facts.decorative:
        mute = tuple(replace(translation, alt=None, long_alt=None) for translation in facts.translations)
        changes |= {"alt": None, "long_alt": None, "translations": mute}
    kept = replace(facts, **changes)
    for name, text in _texts(kept, ""):
        found = _UNWRITABLE.search(text)
        if found:
            raise ValueError(f"{name.replace('_', ' ')} holds U+{ord(found[0]):04X}, a character no file can carry")
    return kept


def _texts(value: object, name: str) -> Iterator[tuple[str, str]]:
    """Give every text inside a value, under the name of the fact that it belongs to."""
    if isinstance(value, str):
        yield name, value
    elif isinstance(value, tuple):
        for item in value:
            yield from _texts(item, name)
    elif is_dataclass(value):
        for field in fields(value):
            yield from _texts(getattr(value, field.name), name or field.name)
