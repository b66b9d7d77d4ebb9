"""What an export did, in a few lines for her."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.deliver.export import Summary

WORTH_A_WORD = 0.005  # from half a per cent of its pixels, a rendition's clipped colours are named


def summary_lines(summary: Summary, out: Path) -> Iterator[str]:
    """Yield what was made, refused, noted and left over, then where to look."""
    for old, new in summary.renamed:
        yield f"renamed: {old} -> {new}"
    for note in summary.notes:
        yield f"note: {note}"
    cautions = 0
    for frame in summary.plan.frames:
        cautions += len(frame.cautions)
        for rendition in frame.renditions:
            cautions += 0 if rendition.refused else len(rendition.cautions)
            if rendition.refused:
                yield f"refused: {rendition.name}: {rendition.refused}"
            shares = [row.outside_gamut for output in rendition.outputs if (row := summary.made.get(output.path))]
            share = max((share for share in shares if share is not None), default=0.0)
            if share >= WORTH_A_WORD:
                yield f"note: {rendition.name}: {share:.1%} of its colours lie outside {rendition.settings.colour}"
    parts = [f"{summary.rendered} files rendered", f"{summary.kept} unchanged"]
    if summary.rewritten:
        parts.insert(1, f"{summary.rewritten} with new metadata only")
    if cautions:
        parts.append(f"{cautions} cautions (see the plan or the contact sheet)")
    yield ", ".join(parts)
    yield f"contact sheet: {out / 'sheet' / 'index.html'}"
