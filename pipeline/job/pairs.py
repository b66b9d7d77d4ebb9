"""What the job asks of two frames together: which two, which targets, and each frame's own hand at them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from pipeline.faults import Fault
from pipeline.job.asked import listed, matching, request, unknown
from pipeline.job.explain import json_text, nearest
from pipeline.job.job import AskedPair
from pipeline.job.model import PairEntry
from pipeline.job.words import slugify

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.job.asked import Known
    from pipeline.job.job import AskedFrame


def asked_pairs(
    job: str, data: dict[str, Any], frames: Sequence[AskedFrame], known: Known, faults: list[Fault]
) -> tuple[AskedPair, ...]:
    """Return the pairs of a job whose shape is sound; what is wrong with them is added to `faults`."""
    by_slug = {asked.slug: asked for asked in frames}
    pairs: list[AskedPair] = []
    for number, entry in _entries(data):
        pair = _asked(job, number, entry, by_slug, known, faults)
        if pair is None:
            continue
        taken = {**{slug: asked.place for slug, asked in by_slug.items()},
                 **{other.slug: f"pairs[{other.number}]" for other in pairs}}  # fmt: skip
        if pair.slug in taken:
            found = f"its files would be named '{pair.slug}', as those of {taken[pair.slug]} are"
            faults.append(Fault(job, found, "give the pair a slug of its own", f"pairs[{number}]: slug"))
        pairs.append(pair)
    return tuple(pairs)


def _entries(data: dict[str, Any]) -> Iterator[tuple[int, PairEntry]]:
    """Yield each sound pair with its number; what is not sound has its faults already."""
    pairs = data.get("pairs")
    for number, entry in enumerate(pairs if isinstance(pairs, list) else [], start=1):
        try:
            yield number, PairEntry.model_validate_json(json_text(entry))
        except ValidationError:
            continue


def _asked(
    job: str, number: int, entry: PairEntry, by_slug: dict[str, AskedFrame], known: Known, faults: list[Fault]
) -> AskedPair | None:
    where = f"pairs[{number}]"
    slugs = [slugify(name) for name in entry.pair]
    for name, slug in zip(entry.pair, slugs, strict=True):
        if slug not in by_slug:
            found, wanted = f"no frame has the slug '{name}'", f"the frames are {listed(by_slug)}"
            faults.append(Fault(job, found, wanted, f"{where}: pair", nearest(slug, by_slug)))
    if slugs[0] == slugs[1]:
        faults.append(Fault(job, f"'{entry.pair[0]}' stands there twice", "name two frames", f"{where}: pair"))
    chosen = list(dict.fromkeys(name for pattern in entry.targets for name in matching(known.two_ups, pattern)))
    for pattern in entry.targets:
        if not matching(known.targets, pattern):
            faults.extend(unknown(job, pattern, known, known.two_ups, f"{where}: targets"))
        elif not matching(known.two_ups, pattern):
            beside = listed(known.two_ups) if known.two_ups else "a target with a layout"
            found = f"'{pattern}' takes one frame"
            faults.append(Fault(job, found, f"a pair goes to {beside}", f"{where}: targets"))
    if not set(slugs) <= set(by_slug):
        return None
    first, second = (by_slug[slug] for slug in slugs)
    requests = tuple((request(first.entry, name, known), request(second.entry, name, known)) for name in chosen)
    slug = slugify(entry.slug) if entry.slug else f"{first.slug}-and-{second.slug}"
    return AskedPair(entry, number, slug, first, second, requests)
