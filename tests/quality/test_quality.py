"""Every figure of the table keeps its bound; and the table would tell if the pixels were worse."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from PIL import Image

from pipeline.light.box import Size
from tests.quality import light, photographs
from tests.quality.photographs import figures_of, measured
from tests.quality.shots import VARIANTS, shots
from tests.quality.steps import STEPS
from tests.quality.steps import figures_of as figures_of_step
from tests.quality.working import working_lab

if TYPE_CHECKING:
    from tests.light.colour_science import Floats
    from tests.quality.figure import Figure
    from tests.render.charts import Array

SMALL = Size(1500, 1000)  # the same bounds as at 24 megapixels, which `python -m tests.quality` measures
LONG = {"photographs", "encoding"}


def missed(found: list[Figure]) -> list[str]:
    """Return the rows that miss their bound, in words."""
    return [str(figure) for figure in found if not figure.holds]


@pytest.mark.parametrize("step", [step for step in STEPS if step not in LONG])
def test_every_figure_keeps_its_bound(step: str) -> None:
    found = list(figures_of_step(step))
    assert found
    assert missed(found) == []


def test_photographs_keep_their_bounds_when_they_are_small_too() -> None:
    # One of each kind of file; `python -m tests.quality` has all six photographs.
    found = list(figures_of([measured(shot) for shot in shots(SMALL, full=False)[: len(VARIANTS)]]))
    assert len(found) == 7
    assert missed(found) == []


@pytest.mark.full
@pytest.mark.parametrize("step", sorted(LONG))
def test_every_figure_keeps_its_bound_that_takes_long(step: str) -> None:
    assert missed(list(figures_of_step(step, full=True))) == []


def test_averaging_code_values_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    def averaged(picture: Array, *, size: Size) -> Array:
        return np.asarray(Image.fromarray(picture).resize((size.width, size.height), Image.Resampling.LANCZOS))

    monkeypatch.setattr(light, "finished", averaged)
    assert len(missed(list(light.figures(full=False)))) >= len(light.TILES)


def test_a_kernel_too_short_would_be_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(light, "_reduced", light._by_pillow(Image.Resampling.NEAREST))
    found = missed(list(light.figures(full=False)))
    assert sum("zone plate" in row for row in found) == len(light.PLATE_SIDES)


@pytest.mark.parametrize(("error", "row"), [(0.3, "mean difference, the worst"), (3.0, "99th percentile")])
def test_a_small_error_of_the_reduced_picture_would_be_seen(
    monkeypatch: pytest.MonkeyPatch, error: float, row: str
) -> None:
    right = working_lab

    def wrong(*place: Any) -> Floats:  # noqa: ANN401 (as the function that it stands for)
        lab = right(*place)
        lab[::2] += [error, 0, 0]
        return lab

    monkeypatch.setattr(photographs, "working_lab", wrong)
    found = missed(list(figures_of([measured(shots(SMALL, full=False)[2])])))
    assert any(row in each for each in found)
