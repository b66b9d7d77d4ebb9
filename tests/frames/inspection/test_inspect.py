"""One look at a frame: what it is asked with decides what is taken for the subject, and every measure is there."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from pipeline.frames.header import CameraFacts, Header
from pipeline.frames.inspection.inspect import _keep, inspect_frame, proposed
from pipeline.frames.inspection.told import Told
from pipeline.frames.inspection.values import Proposal
from pipeline.frames.inspection.view import reduced_light
from pipeline.light.box import Point, Region, Size
from pipeline.light.thresholds import house_thresholds
from tests.frames.inspection.subjects import composite
from tests.render.charts import pixels_of

if TYPE_CHECKING:
    from pipeline.frames.inspection.values import Inspection
    from pipeline.frames.pixels import Pixels

HOUSE = house_thresholds()
FOUND = Proposal(Point(0.5, 0.5), Region(0.4, 0.4, 0.6, 0.6), 0.9)
OWN = Region(0.0, 0.0, 0.2, 0.2)


@pytest.fixture(scope="module")
def picture() -> Pixels:
    return pixels_of(np.asarray(composite(3).picture.reduce(2)))


def look(picture: Pixels, told: Told, **facts: object) -> Inspection:
    size = Size(picture.image.width, picture.image.height)
    camera = CameraFacts(**facts)  # type: ignore[arg-type]
    header = Header(Path("flower.png"), "png", size, 1, 3, 8, alpha=False, icc_profile=None, camera=camera)
    return inspect_frame(header, picture, told, HOUSE)


@pytest.mark.parametrize(
    ("told", "proposal", "keep"),
    [
        (Told(), FOUND, FOUND.keep),
        (Told(), None, None),
        (Told(keep=OWN), FOUND, OWN),
        (Told(keep=OWN), None, OWN),
        (Told(subject=Point(0.1, 0.1), keep=OWN), FOUND, OWN),
        (Told(subject=Point(0.45, 0.6)), FOUND, FOUND.keep),
        (Told(subject=Point(0.1, 0.5)), FOUND, Region(0.0, 0.35, 0.25, 0.65)),
        (Told(subject=Point(0.9, 1.0)), None, Region(0.75, 0.85, 1.0, 1.0)),
    ],
)
def test_what_is_taken_for_the_subject(told: Told, proposal: Proposal | None, keep: Region | None) -> None:
    found = _keep(told, proposal)
    assert (found is None) == (keep is None)
    if found and keep:
        sides = (found.left, found.top, found.right, found.bottom)
        assert (keep.left, keep.top, keep.right, keep.bottom) == pytest.approx(sides)


def test_every_look_leaves_its_measures(picture: Pixels) -> None:
    seen = look(picture, Told("three-quarter"))
    names = {name for name, _ in seen.measures}
    assert {"burnt_out", "cast", "grain", "best_blur_px", "streak_px", "subject_confidence", "line_filled"} <= names
    assert all(math.isfinite(value) for _, value in seen.measures)
    assert seen.proposal
    assert seen.likeness


def test_a_subject_that_was_found_is_looked_at_as_if_it_had_been_given(picture: Pixels) -> None:
    found = look(picture, Told("three-quarter"))
    assert found.proposal
    given = Told("three-quarter", found.proposal.subject, found.proposal.keep)
    assert found == look(picture, given)


def test_what_the_camera_says_is_held_against_what_the_job_says(picture: Pixels) -> None:
    def rules(told: Told, **facts: object) -> set[str]:
        plain = {one.rule for one in look(picture, told).findings}
        return {one.rule for one in look(picture, told, **facts).findings} - plain

    assert rules(Told(action=True, tripod=True), exposure_s=1 / 30) == {"slow for action"}
    assert rules(Told(tripod=True), exposure_s=1 / 30) == set()
    assert rules(Told("overhead", tripod=True), f_number=2.8) == {"aperture"}
    assert rules(Told(), exposure_s=1.0) == {"tripod"}


@pytest.mark.parametrize("shape", [(8, 200), (200, 8), (60, 60), (1, 1)])
def test_no_subject_is_proposed_in_what_is_too_small_or_too_thin(shape: tuple[int, int]) -> None:
    noise = np.random.default_rng(1).integers(0, 256, (*shape, 3)).astype(np.uint8)
    assert proposed(reduced_light(pixels_of(noise)), HOUSE) == (None, 0.0)


@pytest.mark.parametrize("bound", [0.0, 1.0])
def test_the_bound_decides_whether_a_proposal_is_made(picture: Pixels, bound: float) -> None:
    light = reduced_light(picture)
    proposal, confidence = proposed(light, HOUSE.with_values({"sure_subject": bound}))
    assert 0 < confidence < 1
    assert (proposal is None) == (bound == 1.0)
