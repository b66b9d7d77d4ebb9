"""What makes a picture the same picture, and a sheet the same round."""

from __future__ import annotations

import hashlib
from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.review.round import (
    is_whole,
    picture_key,
    picture_keys,
    round_id,
    shown_pictures,
    whole_keys,
    whole_name,
)
from pipeline.ledger.made import Made
from pipeline.plan.rendition import PixelSettings
from tests.small_shoot import HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan, Rendition

JOB = f"""{HEAD}
[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
targets = ["blog/step", "partner/*"]
[[frames]]
file = "spoon.jpg"
subject = [0.4, 0.6]
targets = ["partner/final", "print/a4"]
"""
CONTENTS = {"bowl": "1" * 64, "spoon": "2" * 64}


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    return plan_of(tmp_path, JOB, (2400, 1600), (600, 400))[1]


def final(plan: Plan) -> Rendition:
    return next(one for one in plan.renditions if one.name == "bowl/partner/final")


def test_a_key_is_thirty_two_hexadecimal_figures(plan: Plan) -> None:
    found = picture_key("1" * 64, 1, final(plan))
    assert len(found) == 32
    assert int(found, 16)


@pytest.mark.parametrize(
    "changed",
    [
        {"facts": None},
        {"policy": "proof"},
        {"cautions": ("x",)},
        {"about": "another"},
        {"needs_approval": False},
        {"frame": "soup"},
    ],
)
def test_words_leave_a_picture_as_it_is(plan: Plan, changed: dict[str, Any]) -> None:
    one = final(plan)
    assert picture_key("1" * 64, 1, one) == picture_key("1" * 64, 1, replace(one, **changed))


def test_how_well_a_file_is_encoded_leaves_a_picture_as_it_is(plan: Plan) -> None:
    one = final(plan)
    better = replace(one, settings=replace(one.settings, quality=(("jpeg", 99),)))
    smaller = replace(one, outputs=(replace(one.outputs[0], path="x.webp", format="webp"), *one.outputs))
    assert {picture_key("1" * 64, 1, each) for each in (one, better, smaller)} == {picture_key("1" * 64, 1, one)}


# What a file is encoded with, or held against, is no part of what was approved.
NO_PIXELS = {"quality", "bytes_max", "fidelity", "ink_limit", "progressive", "jpeg_tables"}
OTHER: dict[str, Any] = {
    "sharpen_radius_px": 0.123,
    "sharpen_amount": 0.123,
    "halo_limit": 0.123,
    "colour": "display-p3",
    "mark": "Proof",
    "intent": "perceptual",
    "gamut": "soft",
    "icc_profile": b"icc",
    "ink_limit": 300.0,
    "quality": (("jpeg", 1),),
    "bytes_max": 1000,
    "fidelity": 0.5,
    "progressive": False,
    "jpeg_tables": "standard",
}


@pytest.mark.parametrize("setting", [field.name for field in fields(PixelSettings)])
def test_every_setting_of_the_pixels_makes_another_picture(plan: Plan, setting: str) -> None:
    one = final(plan)
    other = replace(one, settings=replace(one.settings, **{setting: OTHER[setting]}))
    same = picture_key("1" * 64, 1, one) == picture_key("1" * 64, 1, other)
    assert same == (setting in NO_PIXELS)


def test_content_orientation_box_and_size_make_another_picture(plan: Plan) -> None:
    one = final(plan)
    moved = replace(one, crop=replace(one.crop, box=replace(one.crop.box, left=one.crop.box.left + 1)))
    size = replace(one.outputs[-1].size, width=10)
    smaller = replace(one, outputs=(replace(one.outputs[-1], size=size),))
    keys = [picture_key("1" * 64, 1, each) for each in (one, moved, smaller)]
    keys += [picture_key("2" * 64, 1, one), picture_key("1" * 64, 6, one)]
    assert len(set(keys)) == 5


def test_a_whole_frame_is_not_the_rendition_that_shows_all_of_it(plan: Plan) -> None:
    frame = plan.frames[0]
    same = replace(frame.whole, outlet="blog", target="all")
    assert picture_key("1" * 64, 1, frame.whole) != picture_key("1" * 64, 1, same)


def test_a_round_is_known_by_its_sorted_keys() -> None:
    expected = hashlib.sha256(b"a\nb\nc").hexdigest()
    assert expected == round_id(["c", "a", "b"]) == round_id(iter(["a", "b", "c"]))
    assert round_id(["a"]) != round_id(["a", "a"])


def test_refused_renditions_and_unread_frames_have_no_key(plan: Plan) -> None:
    assert list(picture_keys(plan, CONTENTS)) == [
        "bowl/blog/step", "bowl/partner/proof", "bowl/partner/final", "spoon/partner/final",
    ]  # fmt: skip
    assert list(picture_keys(plan, {"spoon": "2" * 64})) == ["spoon/partner/final"]
    assert list(whole_keys(plan, CONTENTS)) == ["bowl/sheet/whole", "spoon/sheet/whole"]


def made(plan: Plan) -> dict[str, Made]:
    return {
        one.preview.path: Made(one.preview.path, one.name, "p", "m", "s", 1, 1, None, None, f"{number:064x}")
        for number, one in enumerate([*plan.renditions, *(frame.whole for frame in plan.frames)])
        if one.preview
    }


def test_a_sheet_shows_what_has_a_preview(plan: Plan) -> None:
    shown = shown_pictures(plan, CONTENTS, made(plan), None)
    assert [one.rendition for one in shown] == [
        "bowl/blog/step", "bowl/partner/proof", "bowl/partner/final", "bowl/sheet/whole",
        "spoon/partner/final", "spoon/sheet/whole",
    ]  # fmt: skip
    of_bowl = {one.rendition: one for one in shown}["bowl/partner/final"]
    assert of_bowl.picture_key == picture_key("1" * 64, 1, final(plan))
    assert (of_bowl.preview_sha256, of_bowl.box) == (f"{2:064x}", final(plan).crop.box)
    only = {path: row for path, row in made(plan).items() if path.endswith("--partner--final.jpg")}
    assert [one.rendition for one in shown_pictures(plan, CONTENTS, only, None)] == [
        "bowl/partner/final", "spoon/partner/final",
    ]  # fmt: skip


def test_a_sheet_for_an_outlet_shows_its_own_pictures_alone(plan: Plan) -> None:
    shown = shown_pictures(plan, CONTENTS, made(plan), "blog")
    assert [one.rendition for one in shown] == ["bowl/blog/step", "bowl/sheet/whole"]
    assert shown_pictures(plan, CONTENTS, made(plan), "market-stall") == ()


def test_the_name_of_a_whole_frame() -> None:
    assert whole_name("bowl") == "bowl/sheet/whole"
    assert is_whole("bowl/sheet/whole")
    assert not is_whole("bowl/blog/whole")
