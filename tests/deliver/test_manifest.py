from __future__ import annotations

import hashlib
import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
from pydantic import TypeAdapter

from pipeline.deliver.manifest import FORMAT, manifest_json
from pipeline.deliver.review.round import picture_keys
from pipeline.ledger.made import Made
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import SRGB
from pipeline.plan.facts import PictureFacts
from pipeline.plan.rendition import Approval
from pipeline.render.stated import stated
from tests.small_shoot import FRAME, HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

TEXT = (
    HEAD.replace("Bean soup", "Crème <soup>")
    + FRAME
    + 'targets = ["blog/step", "print/a4"]\n'
    + FRAME.replace("bowl", "bread")
)


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    """Return a plan of two frames and three renditions, one of them refused."""
    _, made = plan_of(tmp_path, TEXT, (600, 400), (6000, 4000))
    return made


def made_of(plan: Plan) -> dict[str, Made]:
    """Return rows as if every planned file had been made."""
    paths = [output.path for rendition in plan.renditions for output in rendition.outputs]
    return {
        path: Made(
            path, f"use {number}", "p", "m", f"digest {number}", 1000 + number, 5, number / 3 if number else None
        )
        for number, path in enumerate(paths)
    }


def manifest(plan: Plan, made: dict[str, Made]) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(manifest_json(plan, made, {"bowl": "content of bowl"}))
    return document


def test_it_says_what_each_rendition_is_made_of_and_how(plan: Plan) -> None:
    document = manifest(plan, made_of(plan))
    assert (document["manifest"], document["job"], document["title"]) == (FORMAT, "job.toml", "Crème <soup>")
    for rendition, told in zip(plan.renditions, document["renditions"], strict=True):
        box = rendition.crop.box
        assert (told["frame"], told["target"]) == (rendition.frame, f"{rendition.outlet}/{rendition.target}")
        assert told["box"] == [box.left, box.top, box.width, box.height]
        assert (told["anchor"], told["refused"]) == (rendition.crop.reached, rendition.refused)
        assert told["cautions"] == list(rendition.cautions)
        assert told["metadata"] == rendition.policy
        assert told["settings"]["sharpen_radius_px"] == rendition.settings.sharpen_radius_px
        assert told["settings"]["quality"] == [list(pair) for pair in rendition.settings.quality]
    assert [one["source"] for one in document["renditions"]] == [
        {"file": "bowl.jpg", "sha256": "content of bowl"},
        {"file": "bowl.jpg", "sha256": "content of bowl"},
        {"file": "bread.jpg", "sha256": None},
    ]


def test_it_lists_every_file_with_its_digest_bytes_and_size(plan: Plan) -> None:
    made = made_of(plan)
    files = [file for one in manifest(plan, made)["renditions"] for file in one["files"]]
    planned = [output for rendition in plan.renditions for output in rendition.outputs]
    assert [(file["path"], file["size"], file["format"], file["ppi"]) for file in files] == [
        (output.path, [output.size.width, output.size.height], output.format, output.ppi) for output in planned
    ]
    for file in files:
        row = made[file["path"]]
        assert (file["sha256"], file["bytes"]) == (row.sha256, row.size_bytes)
        assert file["outside_gamut"] == (row.outside_gamut and pytest.approx(row.outside_gamut, abs=1e-6))


def test_a_file_that_was_not_made_is_not_listed(plan: Plan) -> None:
    made = made_of(plan)
    gone = next(iter(made))
    del made[gone]
    files = [file["path"] for one in manifest(plan, made)["renditions"] for file in one["files"]]
    assert files == list(made)


def test_a_refused_rendition_stands_there_without_files(plan: Plan) -> None:
    (refused,) = [one for one in manifest(plan, made_of(plan))["renditions"] if one["refused"]]
    assert (refused["target"], refused["files"]) == ("print/a4", [])
    assert refused["refused"].startswith("too small: this crop gives ")


def test_the_same_plan_gives_the_same_bytes(plan: Plan) -> None:
    made = made_of(plan)
    first = manifest_json(plan, made, {"bowl": "x", "bread": "y"})
    again = manifest_json(plan, dict(reversed(made.items())), {"bread": "y", "bowl": "x"})
    assert first == again
    assert first.endswith(b"}\n")
    assert "Crème <soup>".encode() in first


def test_it_names_no_folder_of_this_machine(plan: Plan, tmp_path: Path) -> None:
    assert str(tmp_path).encode() not in manifest_json(plan, made_of(plan), {})


def test_it_carries_what_the_files_state_and_nothing_that_they_leave_out(plan: Plan) -> None:
    for rendition, told in zip(plan.renditions, manifest(plan, made_of(plan))["renditions"], strict=True):
        facts = stated(rendition.facts, rendition.policy)
        assert TypeAdapter(PictureFacts).validate_python(told["facts"]) == facts
        assert None not in told["facts"].values()
        assert (told["camera"] is None) == (rendition.policy != "full")
        assert told["icc_profile_sha256"] == hashlib.sha256(write_matrix_profile(SRGB)).hexdigest()


def test_it_carries_what_a_pack_needs(tmp_path: Path) -> None:
    text = TEXT.replace("[shoot]", '[sponsor]\nname = "Beans"\ndisclosure = "Advertisement."\n[shoot]', 1)
    text = text.replace(
        "[[frames]]", '[targets."blog/step"]\nneeds = "approval"\nlicence_ends = 2027-09-30\n[[frames]]', 1
    )
    text = text.replace('title = "', 'not_before = 2026-10-01\ndate = 2026-09-12\ntitle = "', 1)
    _, plan = plan_of(tmp_path, text, (600, 400), (6000, 4000))
    approval = Approval("B. Örn", "2026-11-20", "0" * 64)
    frame = plan.frames[0]
    step = replace(frame.renditions[0], approvals=(approval,))
    plan = replace(plan, frames=(replace(frame, renditions=(step, *frame.renditions[1:])), *plan.frames[1:]))
    document = manifest(plan, {})
    assert (document["slug"], document["date"], document["language"]) == ("creme-soup", "2026-09-12", "en")
    assert document["sponsor"] == {"name": "Beans", "disclosure": "Advertisement."}
    first, second = document["renditions"][:2]
    assert (first["not_before"], first["licence_ends"]) == ("2026-10-01", "2027-09-30")
    assert "not_before" not in first["facts"], "a public file does not say it"
    assert (first["needs_approval"], second["needs_approval"]) == (True, False)
    assert first["approvals"] == [{"reviewer": "B. Örn", "date": "2026-11-20", "round": "0" * 64}]
    assert (first["picture_key"], second["picture_key"]) == (
        picture_keys(plan, {"bowl": "content of bowl"})[step.name],
        None,
    )


def test_private_notes_of_the_job_stay_out_of_a_public_rendition(plan: Plan) -> None:
    frame = plan.frames[0]
    noted = replace(frame.renditions[0], facts=replace(frame.renditions[0].facts, rating=0, job_id="secret"))
    public, full = (replace(noted, policy=policy) for policy in ("public", "full"))
    both = replace(plan, frames=(replace(frame, renditions=(public, full)),))
    first, second = (one["facts"] for one in manifest(both, {})["renditions"])
    assert not {"rating", "job_id"} & set(first)
    assert (second["rating"], second["job_id"]) == (0, "secret")


def test_words_that_no_file_can_carry_are_not_in_it(plan: Plan) -> None:
    frame = plan.frames[0]
    odd = replace(frame.renditions[0], facts=replace(frame.renditions[0].facts, title="\x07"))
    (told,) = manifest(replace(plan, frames=(replace(frame, renditions=(odd,)),)), {})["renditions"]
    assert told["facts"] is None


def test_the_digest_of_the_picture_alone_comes_from_the_ledger(plan: Plan) -> None:
    made = {path: replace(row, picture_sha256=f"picture of {path}") for path, row in made_of(plan).items()}
    files = [file for one in manifest(plan, made)["renditions"] for file in one["files"]]
    assert [file["picture_sha256"] for file in files] == [f"picture of {file['path']}" for file in files]
    assert {file["picture_sha256"] for one in manifest(plan, made_of(plan))["renditions"] for file in one["files"]} == {
        None
    }
