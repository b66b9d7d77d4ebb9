"""The plan as one outlet may see it: by value, so that no page built from it can show more."""

from __future__ import annotations

from dataclasses import replace

from pipeline.deliver.sheet.for_outlet import outlet_plan, without_private
from pipeline.frames.header import CameraFacts
from pipeline.light.box import Size
from tests.deliver.sheet.sheet_shoot import FACTS, HERO, PAGE, PLAN, POSTER, SETTINGS, SQUARE, frame

MARKED = replace(SQUARE, outlet="partner", target="proof", policy="proof", settings=replace(SETTINGS, mark="Proof"))
FINAL = replace(SQUARE, outlet="partner", target="final", policy="full")
REFUSED = replace(POSTER, outlet="partner")


def test_only_its_own_renditions_and_their_frames_are_left() -> None:
    one, two = frame("one", renditions=(HERO, MARKED, FINAL)), frame("two", renditions=(PAGE, REFUSED))
    plan = replace(PLAN, frames=(one, two, frame("three")))
    seen = outlet_plan(plan, "partner")
    assert [one.slug for one in seen.frames] == ["one"]
    assert [one.target for one in seen.renditions] == ["proof", "final"]
    assert outlet_plan(plan, "nobody").frames == ()


def test_the_whole_frame_is_small_and_marked_where_a_rendition_is() -> None:
    for renditions, mark, policy in (((MARKED, FINAL), "Proof", "proof"), ((FINAL,), None, "public")):
        whole = outlet_plan(replace(PLAN, frames=(frame("one", renditions=renditions),)), "partner").frames[0].whole
        assert whole.preview
        assert (whole.settings.mark, whole.policy) == (mark, policy)
        assert (whole.preview.size, whole.preview.path) == (Size(800, 533), "sheet/for-partner/whole/one.jpg")
        assert whole.small is None
        assert whole.name != frame("one").whole.name  # the ledger knows it apart from hers


def test_nothing_private_is_left_in_the_values() -> None:
    private = replace(
        frame("one", renditions=(replace(MARKED, cautions=("PRIVATE caution",)),)),
        file="PRIVATE/DSC1.jpg",
        cautions=("PRIVATE caution",),
        notes=("PRIVATE note",),
        origins=(("alt", "PRIVATE"),),
    )
    camera = CameraFacts(make="PRIVATE", model="PRIVATE", lens="PRIVATE", taken="PRIVATE")
    private = replace(private, header=replace(private.header, camera=camera), facts=replace(FACTS, job_id="PRIVATE"))
    plan = replace(PLAN, frames=(private,), post_url="https://PRIVATE.example", job=PLAN.job.parent / "PRIVATE.toml")
    assert repr(plan).count("PRIVATE") >= 10
    seen = without_private(outlet_plan(plan, "partner"))
    assert "PRIVATE" not in repr(seen)
    assert seen.frames[0].keep is None
    assert seen.frames[0].facts == MARKED.facts  # as the proof states them
