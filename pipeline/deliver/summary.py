"""What an export did, in a few lines for her."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.faults import counted

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from pipeline.deliver.export import Summary
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Rendition

WORTH_A_WORD = 0.005  # from half a per cent of its pixels, a rendition's clipped colours are named
SPACES = {"srgb": "sRGB", "display-p3": "Display P3", "adobe-rgb": "Adobe RGB"}


def summary_lines(summary: Summary, out: Path) -> Iterator[str]:
    """Yield what was made, refused, noted and left over, then where to look."""
    for old, new in summary.renamed:
        yield f"renamed: {old} -> {new}"
    for note in summary.notes:
        yield f"note: {note}"
    for frame in summary.plan.frames:
        for rendition in frame.renditions:
            if rendition.refused:
                yield f"refused: {rendition.name}: {rendition.refused}"
        share, space = _most_outside(frame.renditions, summary.made)
        if share >= WORTH_A_WORD:
            yield f"note: {frame.slug}: up to {share:.1%} of its colours lie outside {space} and were clipped"
    cautions = sum(len(frame.cautions) + sum(map(_count, frame.renditions)) for frame in summary.plan.frames)
    parts = [f"{counted(summary.rendered, 'file')} rendered", f"{summary.kept} unchanged"]
    if summary.rewritten:
        parts.insert(1, f"{summary.rewritten} with new metadata only")
    if cautions:
        parts.append(f"{counted(cautions, 'caution')} (see the plan or the contact sheet)")
    if summary.faults:
        parts.append(f"{counted(len(summary.faults), 'fault')}, told below")
    yield ", ".join(parts)
    yield f"contact sheet: {out / 'sheet' / 'index.html'}"


def _count(rendition: Rendition) -> int:
    return 0 if rendition.refused else len(rendition.cautions)


def _most_outside(renditions: Iterable[Rendition], made: Mapping[str, Made]) -> tuple[float, str]:
    """Return the largest share of pixels outside its target's space that any rendition has, and that space."""
    shares = [
        (row.outside_gamut, SPACES[rendition.settings.colour])
        for rendition in renditions
        for output in rendition.outputs
        if (row := made.get(output.path)) and row.outside_gamut is not None
    ]
    return max(shares, default=(0.0, ""))
