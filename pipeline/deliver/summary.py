"""What an export did, in a few lines for her."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.counts import Counts
from pipeline.deliver.export import faults_of
from pipeline.deliver.measured import brought_inside, fidelity_words, ink_words, outside_gamut
from pipeline.faults import counted, of_job, printable_line
from pipeline.job.asked import matching

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from pathlib import Path

    from pipeline.deliver.export import Came, Summary
    from pipeline.faults import Fault
    from pipeline.ledger.made import Made
    from pipeline.plan.rendition import PlannedFrame, Rendition

WORTH_A_WORD = 0.005  # from half a per cent of its pixels, a rendition's clipped colours are named
MOST_NAMED = 3


@dataclass(frozen=True, slots=True)
class Part:
    """What is told of one shoot among several: its lines, its faults by the job's name, and what is added up.

    `untouched` says that nothing of it was asked for, `stopped` that it was not finished.
    """

    job: Path
    lines: tuple[str, ...]
    faults: tuple[Fault, ...]
    counts: Counts
    untouched: bool = False
    stopped: bool = False


def part_of(came: Came) -> Part:
    """Return what is told of a shoot that is through, without its plan: many of them are held."""
    asked, summary = came.asked, came.summary
    faults = tuple(of_job(fault, asked.job) for fault in faults_of(came))
    if summary:
        return Part(asked.job, tuple(summary_lines(summary, asked.out)), faults, counts_of(summary))
    if came.stopped:
        return Part(asked.job, ("stopped, told below",), faults, Counts(faults=len(faults)), stopped=True)
    return Part(asked.job, ("left as it is: nothing in it matches --only",), (), Counts(), untouched=True)


def parts_lines(parts: Sequence[Part]) -> Iterator[str]:
    """Yield each shoot's part under the name of its job, then the whole."""
    for part in parts:
        yield f"{part.job}:"
        yield from (f"  {line}" for line in part.lines)
    through = sum(not (part.untouched or part.stopped) for part in parts)
    counts = sum((part.counts for part in parts), Counts())
    yield f"{through} of {counted(len(parts), 'shoot')}: {counts.in_words()}"


def summary_lines(summary: Summary, out: Path) -> Iterator[str]:
    """Yield what was made, refused, noted and left over, then where to look."""
    yield from map(printable_line, _summary_lines(summary, out))


def _summary_lines(summary: Summary, out: Path) -> Iterator[str]:
    for old, new in summary.renamed:
        yield f"renamed: {old} -> {new}"
    for note in summary.notes:
        yield f"note: {note}"
    for frame in summary.plan.frames:
        chosen = _chosen(frame, summary)
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
    if summary.kept_names:
        yield (
            f"note: {counted(summary.kept_names, 'file')} kept the name delivered before; "
            "`plateline export --rename` gives each the name that the job says now"
        )
    if summary.left_over:
        count = counted(len(summary.left_over), "file")
        first = _first_of(summary.left_over)
        yield f"note: {count} made earlier and no longer in the job, left in place: {first} (see --prune)"
    yield from _approval_lines(summary)
    yield counts_of(summary).in_words()
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


def counts_of(summary: Summary) -> Counts:
    """Return what there is to say of an export in figures."""
    cautions = 0
    for frame in summary.plan.frames:
        chosen = _chosen(frame, summary)
        cautions += sum(map(_count, chosen)) + (len(frame.cautions) if chosen else 0)
    return Counts(summary.rendered, summary.rewritten, summary.kept, cautions, len(summary.faults))


def _chosen(frame: PlannedFrame, summary: Summary) -> list[Rendition]:
    """Return the renditions of a frame that were asked for."""
    return [one for one in frame.renditions if summary.only is None or matching([one.name], summary.only)]


def _count(rendition: Rendition) -> int:
    return 0 if rendition.refused else len(rendition.cautions)


def _most_outside(renditions: Iterable[Rendition], made: Mapping[str, Made]) -> tuple[float, str]:
    """Return the largest share of pixels outside its target's colours that any rendition has, and what they became."""
    shares = [(outside_gamut(rendition, made) or 0.0, brought_inside(rendition)) for rendition in renditions]
    return max(shares, default=(0.0, ""))
