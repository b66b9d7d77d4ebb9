"""What an export did, in a few lines for her."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.deliver.measured import brought_inside, fidelity_words, ink_words, outside_gamut
from pipeline.faults import counted
from pipeline.job.asked import matching

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.export import Summary
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import Rendition

WORTH_A_WORD = 0.005  # from half a per cent of its pixels, a rendition's clipped colours are named
MOST_NAMED = 3


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
        share, inside = _most_outside(chosen, summary.made)
        if share >= WORTH_A_WORD:
            yield f"note: {frame.slug}: up to {share:.1%} of its colours {inside}"
        for rendition in chosen:
            if ink := ink_words(rendition, summary.made):
                yield f"note: {rendition.name}: total ink {ink}"
            if missed := fidelity_words(rendition, summary.made):
                yield f"note: {missed}"
        cautions += sum(map(_count, chosen)) + (len(frame.cautions) if chosen else 0)
    if summary.kept_names:
        yield (
            f"note: {counted(summary.kept_names, 'file')} kept the name delivered before; "
            "`plateline export --rename` gives each the name that the job says now"
        )
    if summary.left_over:
        count = counted(len(summary.left_over), "file")
        yield f"note: {count} made earlier and no longer in the job, left in place: {_first_of(summary.left_over)}"
    yield from _approval_lines(summary)
    parts = [f"{counted(summary.rendered, 'file')} rendered", f"{summary.kept} unchanged"]
    if summary.rewritten:
        parts.insert(1, f"{summary.rewritten} with new metadata only")
    if cautions:
        parts.append(f"{counted(cautions, 'caution')} (see the plan or the contact sheet)")
    if summary.faults:
        parts.append(f"{counted(len(summary.faults), 'fault')}, told below")
    yield ", ".join(parts)
    if summary.sheet:
        yield f"contact sheet: {out / summary.sheet}"


def _approval_lines(summary: Summary) -> Iterator[str]:
    """Yield what waits for an approval, and what stands in its place."""
    waiting = [one.name for one in summary.plan.renditions if one.waits]
    if waiting:
        wait = "waits" if len(waiting) == 1 else "wait"
        yield f"{counted(len(waiting), 'rendition')} {wait} for approval: {_first_of(waiting)}"
    if summary.unapproved:
        count = counted(len(summary.unapproved), "file")
        are = "is" if len(summary.unapproved) == 1 else "are"
        yield (
            f"note: {count} made earlier {are} not what was approved; left in place, in neither the manifest nor the "
            f"code for the post: {_first_of(summary.unapproved)}"
        )


def _first_of(names: Sequence[str]) -> str:
    return ", ".join(names[:MOST_NAMED]) + (", ..." if len(names) > MOST_NAMED else "")


def _count(rendition: Rendition) -> int:
    return 0 if rendition.refused else len(rendition.cautions)


def _most_outside(renditions: Iterable[Rendition], made: Mapping[str, Made]) -> tuple[float, str]:
    """Return the largest share of pixels outside its target's colours that any rendition has, and what they became."""
    shares = [(outside_gamut(rendition, made) or 0.0, brought_inside(rendition)) for rendition in renditions]
    return max(shares, default=(0.0, ""))
