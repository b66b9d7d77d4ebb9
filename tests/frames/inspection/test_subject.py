"""The subject: proposed points and boxes against marks that were made before (`subjects.py`), a centre guess beside."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import pytest
from PIL import Image

from pipeline.frames.inspection.subject import find_subject
from pipeline.light.box import Region
from pipeline.light.overlap import overlap
from pipeline.light.spaces import SRGB
from tests.frames.inspection.subjects import COMPOSITES, Marked, composites, photographs

if TYPE_CHECKING:
    from collections.abc import Iterable

    from pipeline.frames.inspection.values import Proposal

MIDDLE = Region(0.25, 0.25, 0.75, 0.75)
SURE = 0.6


@dataclass(frozen=True, slots=True)
class Score:
    """Shares of pictures: point in the box, box over half common; the same for a guess at the centre."""

    asked: float
    point: float
    box: float
    centre_point: float
    centre_box: float


def proposal(marked: Marked) -> Proposal:
    return find_subject(SRGB.curve.to_linear(np.asarray(marked.picture, dtype=np.float64) / 255))


def score(pictures: Iterable[Marked]) -> Score:
    found = [(one.box, proposal(one)) for one in pictures]
    sure = [(box, one) for box, one in found if one.confidence >= SURE]

    def share(values: list[bool]) -> float:
        return sum(values) / len(values)

    return Score(
        asked=1 - len(sure) / len(found),
        point=share([inside(box, one.subject.x, one.subject.y) for box, one in sure]),
        box=share([overlap(box, one.keep) > 0.5 for box, one in sure]),
        centre_point=share([inside(box, 0.5, 0.5) for box, _ in found]),
        centre_box=share([overlap(box, MIDDLE) > 0.5 for box, _ in found]),
    )


def inside(box: Region, x: float, y: float) -> bool:
    return box.left <= x <= box.right and box.top <= y <= box.bottom


def test_photographs_that_packages_ship() -> None:
    found = score(photographs())
    assert found.point >= 0.85
    assert found.box >= 0.70
    assert found.asked < 0.25, "two of ten: a rocket among masts, a motorcycle in a full garage"
    assert found.box > found.centre_box


def test_composites(request: pytest.FixtureRequest) -> None:
    found = score(composites(1 if request.config.getoption("--full") else 4))
    assert COMPOSITES == 48
    assert found.point >= 0.85
    assert found.box >= 0.70
    assert found.asked < 0.15
    assert (found.point > found.centre_point, found.box > found.centre_box) == (True, True)


@pytest.mark.parametrize("name", ["brick.png", "grass.png", "gravel.png"])
def test_a_texture_has_no_subject(name: str) -> None:
    with (files("skimage.data") / name).open("rb") as stream:
        texture = Image.open(stream).convert("RGB")
    assert proposal(Marked(name, "photograph", texture, MIDDLE)).confidence < SURE


@pytest.mark.parametrize("seed", range(3))
def test_noise_has_no_subject(seed: int) -> None:
    assert find_subject(np.random.default_rng(seed).random((300, 400, 3))).confidence < SURE


@pytest.mark.parametrize("light", [0.0, 0.18, 0.187820772300678, 1.0])
def test_a_flat_picture_gives_a_finite_answer(light: float) -> None:
    found = find_subject(np.full((200, 300, 3), light))
    assert found.confidence == 0.0
    assert np.isfinite([found.subject.x, found.subject.y, found.keep.left, found.confidence]).all()
    assert found.keep.left < found.keep.right
