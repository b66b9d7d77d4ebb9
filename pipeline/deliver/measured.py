"""What was measured of a rendition's colours, in words: once for the summary, the manifest and the contact sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.faults import counted
from pipeline.job.sizes import byte_words
from pipeline.light.colour_names import display_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping
    from pathlib import Path

    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Plan, Rendition


def outside_gamut(rendition: Rendition, made: Mapping[str, Made]) -> float | None:
    """Return the largest share (0..1) of pixels outside the target's colours in any file; None where not measured."""
    shares = (row.outside_gamut for row in _rows(rendition, made))
    return max((share for share in shares if share is not None), default=None)


def brought_inside(rendition: Rendition) -> str:
    """Return what became of those pixels: "lie outside sRGB and were clipped"."""
    settings = rendition.settings
    if settings.icc_profile is not None:
        return f"lie outside '{settings.colour}' and became the nearest that it has"
    became = "lost as much chroma as they had to" if settings.gamut == "soft" else "were clipped"
    return f"lie outside {display_name(settings.colour)} and {became}"


def ink_words(rendition: Rendition, made: Mapping[str, Made]) -> str:
    """Return how much ink the heaviest file lays on paper; "" where that is not measured, or no press is involved."""
    heaviest = _heaviest(rendition, made)
    if heaviest is None or heaviest.heavy_ink is None or heaviest.total_ink is None:
        return ""
    return f"{heaviest.heavy_ink:.0f}% at most, {heaviest.total_ink:.0f}% at single pixels"


def fidelity_words(rendition: Rendition, made: Mapping[str, Made]) -> str:
    """Return which files stay below the fidelity that was asked for, and why; "" where none does."""
    floor, limit = rendition.settings.fidelity, rendition.settings.bytes_max
    if floor is None:
        return ""
    missed = [(row.fidelity, row.path) for row in _rows(rendition, made) if row.fidelity is not None]
    missed = sorted((fidelity, path) for fidelity, path in missed if fidelity < floor)
    if not missed:
        return ""
    fidelity, path = missed[0]
    why = "the format can do no better at this size" if limit is None else f"{byte_words(limit)} allow no more"
    more = f", and {counted(len(missed) - 1, 'other file')} likewise" if missed[1:] else ""
    return f"{path} has a fidelity of {fidelity:.2f}, below the {floor:g} asked for: {why}{more}"


def made_so_far(plan: Plan, out: Path) -> dict[str, Made]:
    """Return what an earlier run made in `out` with the very pixels that the plan asks for, by path; writes nothing."""
    from pipeline.deliver.review.approved import known_contents  # noqa: PLC0415 (the summary needs none of it)
    from pipeline.deliver.tasks import made_as_planned  # noqa: PLC0415 (as above)
    from pipeline.ledger.book import read_made  # noqa: PLC0415 (as above)

    made = read_made(out)
    return made_as_planned(plan, known_contents(plan, out), made) if made else {}


def with_measured_cautions(plan: Plan, made: Mapping[str, Made]) -> Plan:
    """Return the plan with a caution where what was measured needs a second look.

    That is ink above what the press takes, or a picture below the fidelity asked for.
    """
    frames = tuple(
        replace(frame, renditions=tuple(_with_cautions(rendition, made) for rendition in frame.renditions))
        for frame in plan.frames
    )
    return replace(plan, frames=frames)


def _with_cautions(rendition: Rendition, made: Mapping[str, Made]) -> Rendition:
    inked = _with_ink_caution(rendition, made)
    missed = fidelity_words(rendition, made)
    return replace(inked, cautions=(*inked.cautions, missed)) if missed else inked


def _with_ink_caution(rendition: Rendition, made: Mapping[str, Made]) -> Rendition:
    limit, heaviest = rendition.settings.ink_limit, _heaviest(rendition, made)
    if limit is None or heaviest is None or not heaviest.ink_over or heaviest.total_ink is None:
        return rendition
    caution = (
        f"{_share(heaviest.ink_over)} of its pixels carry more than {limit:g}% ink, up to {heaviest.total_ink:.0f}%: "
        f"ask the printer for a profile that lays down less than '{rendition.settings.colour}'"
    )
    return replace(rendition, cautions=(*rendition.cautions, caution))


def _rows(rendition: Rendition, made: Mapping[str, Made]) -> Iterator[Made]:
    return (made[output.path] for output in rendition.outputs if output.path in made)


def _heaviest(rendition: Rendition, made: Mapping[str, Made]) -> Made | None:
    inked = [row for row in _rows(rendition, made) if row.total_ink is not None]
    return max(inked, key=lambda row: (row.ink_over or 0.0, row.total_ink or 0.0), default=None)


def _share(part: float) -> str:
    return f"{part:.1%}" if part >= 0.001 else "under 0.1%"
