"""What an export did, in a few lines for her."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.faults import counted
from pipeline.job.asked import matching

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping
    from pathlib import Path

    from pipeline.deliver.export import Summary
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Rendition

WORTH_A_WORD = 0.005  # from half a per cent of its pixels, a rendition's clipped colours are named
MOST_NAMED = 3
SPACES = {"srgb": "sRGB", "display-p3": "Display P3", "adobe-rgb": "Adobe RGB"}


def summary_lines(summary: Summary, out: Path) -> Iterator[str]:
    """Yield what was made, refused, noted and left over, then where to look."""
    for old, new in summary.renamed:
        yield f"renamed: {old} -> {new}"
    for note in summary.notes:
        yield f"note: {note}"
    cautions = 0
    for frame in summary.plan.frames:
        chosen = [one for one in frame.renditions if summary.only is None or matching([one.name], summary.only)]
        for rendition in chosen:
            if rendition.refused:
                yield f"refused: {rendition.name}: {rendition.refused}"
        share, space = _most_outside(chosen, summary.made)
        if share >= WORTH_A_WORD:
            yield f"note: {frame.slug}: up to {share:.1%} of its colours lie outside {space} and were clipped"
        cautions += sum(map(_count, chosen)) + (len(frame.cautions) if chosen else 0)
    if summary.kept_names:
        yield (
            f"note: {counted(summary.kept_names, 'file')} kept the name delivered before; "
            "`plateline export --rename` gives each the name that the job says now"
        )
    if summary.left_over:
        shown = ", ".join(summary.left_over[:MOST_NAMED]) + (", ..." if len(summary.left_over) > MOST_NAMED else "")
        count = counted(len(summary.left_over), "file")
        yield f"note: {count} made earlier and no longer in the job, left in place: {shown}"
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
