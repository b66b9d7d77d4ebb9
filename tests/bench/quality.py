"""Whether what was measured for speed keeps the bounds of quality: light, and a photograph of 24 megapixels."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.bench.frames import CAMERA
from tests.bench.table import Row
from tests.quality import light
from tests.quality.figure import exactly
from tests.quality.photographs import figures_of, measured
from tests.quality.shots import shots

if TYPE_CHECKING:
    from collections.abc import Iterator

    from tests.quality.figure import Figure


def rows() -> Iterator[Row]:
    """Yield how many figures of the two steps miss their bound."""
    yield _missed("light: grids to 188, 137, 146; plates, glints, means", list(light.figures(full=False)))
    yield _missed("a photograph of 24 MP against float64", list(figures_of([measured(shots(CAMERA, full=False)[0])])))


def _missed(what: str, figures: list[Figure]) -> Row:
    missed = [str(figure) for figure in figures if not figure.holds]
    beside = "; ".join(missed) or f"all {len(figures)} keep theirs"
    return Row(f"figures of quality that miss their bound, {what}", len(missed), exactly(0), beside)
