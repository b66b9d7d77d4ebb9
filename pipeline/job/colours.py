"""What a target's colour may be, and which formats can carry it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.light.colour_names import BUILT_IN

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.job.target import Format, Target

# By the number of channels. WebP and AVIF have no grey of one channel that an ICC profile could speak of, and CMYK
# stands in JPEG and TIFF alone (TIFF 6.0 section 16; JPEG by the marker that Adobe added, ITU-T T.872 6.5.3).
CARRIERS: dict[int, tuple[Format, ...]] = {1: ("jpeg", "png", "tiff"), 4: ("jpeg", "tiff")}
KINDS = {1: "grey", 3: "RGB", 4: "CMYK"}


def colour_contradictions(target: Target) -> Iterator[str]:
    """Yield what does not go together in a target whose colour is one of ours; of others the job's profile decides."""
    if target.colour in BUILT_IN:
        yield from carried(target, 1 if target.colour == "grey" else 3)


def carried(target: Target, channels: int, *, tables: bool = False) -> Iterator[str]:
    """Yield, as "found; wanted", what cannot be done with so many channels. `tables`: the profile has no matrix."""
    kind = KINDS[channels]
    carriers = CARRIERS.get(channels)
    unfit = [name for name in target.formats if carriers and name not in carriers]
    if carriers and unfit:
        yield f"formats has {_listed(unfit)}, and its colour is {kind}; {kind} goes into {_listed(carriers)} only"
    if target.ink_limit is not None and channels != 4:
        yield f"there is an ink_limit, and its colour is {kind}; only CMYK lays ink on paper"
    if target.fidelity is not None and (channels == 4 or tables):
        by = " by tables" if tables and channels != 4 else ""
        yield f"there is a fidelity, and its colour is {kind}{by}; it is measured in RGB by primaries and in grey only"
    if target.gamut == "soft" and (channels != 3 or tables):
        wanted = 'the profile has tables for that: write intent = "perceptual"' if tables else "leave gamut out"
        yield f'gamut is "soft", which is for RGB by primaries, and its colour is {kind}; {wanted}'


def _listed(names: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(names[:-1]), names[-1])))
