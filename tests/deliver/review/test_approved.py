"""Finals only of what was approved: exports of a shoot under review."""

from __future__ import annotations

import io
import shutil
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.export import Asked, export
from pipeline.deliver.review.approved import approved_so_far, known_contents, missing_approvals
from pipeline.deliver.review.replies import reviewer_slug
from pipeline.deliver.review.take import take_replies
from pipeline.deliver.summary import summary_lines
from pipeline.deliver.survey import survey
from pipeline.deliver.verify.verify import verify
from pipeline.faults import RequestRefused
from pipeline.ledger.book import FILE, file_digest
from pipeline.plan.show import plan_json, plan_lines
from tests.deliver.review.shoot import FINALS, JOB, answer, last_round, manifest, run, shoot
from tests.deliver.review.test_take import TODAY

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.export import Summary

BOWL, SPOON = "bowl/partner/final", "wooden-spoon/partner/final"
PROOFS = ("bowl/partner/proof", "wooden-spoon/partner/proof")


def take(job: Path, *files: Path) -> None:
    take_replies(job, job.parent / "out", files, TODAY)


def finals(job: Path) -> list[str]:
    return [path for path in FINALS if (job.parent / "out" / path).exists()]


def said(summary: Summary, job: Path) -> list[str]:
    return list(summary_lines(summary, job.parent / "out"))


def move_the_spoon(job: Path) -> None:
    """Change what the wooden spoon's pictures show."""
    text = job.read_text(encoding="utf-8")
    assert "subject = [0.4, 0.6]" in text
    job.write_text(text.replace("subject = [0.4, 0.6]", "subject = [0.6, 0.4]"), encoding="utf-8")


def test_what_needs_an_approval_waits_for_it(job: Path) -> None:
    summary = run(job)
    assert finals(job) == []
    assert summary.faults == ()
    assert f"2 renditions wait for approval: {BOWL}, {SPOON}" in said(summary, job)
    for name in (BOWL, SPOON):
        assert manifest(job)[name]["files"] == []
        assert (manifest(job)[name]["needs_approval"], manifest(job)[name]["approvals"]) == (True, [])
    for name in PROOFS:
        assert len(manifest(job)[name]["files"]) == 1
    previews = [path.name for path in (job.parent / "out" / "sheet" / "previews").iterdir()]
    assert "bowl--partner--final.jpg" in previews, "it can be looked at"


def test_a_folder_in_which_something_waits_is_as_delivered(job: Path) -> None:
    report = verify(job.parent / "out")
    assert report.findings == ()
    assert not set(FINALS) & set(report.files)


def test_an_approved_final_is_made_and_says_who_approved_it(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve", "wooden-spoon": "change"}))
    summary = run(job)
    assert finals(job) == [FINALS[0]]
    assert f"1 rendition waits for approval: {SPOON}" in said(summary, job)
    bowl = manifest(job)[BOWL]
    assert [FINALS[0]] == [file["path"] for file in bowl["files"]]
    assert bowl["approvals"] == [
        {"reviewer": "Ines Falkenrath", "date": "2026-11-25", "round": last_round(job).id},
    ]
    assert verify(job.parent / "out").findings == ()


def test_the_plan_says_who_approved_and_what_waits(job: Path) -> None:
    take(job, answer(job, {BOWL: "approve"}))
    before = (job.parent / "out" / FILE).stat().st_mtime_ns
    plan = approved_so_far(survey(job).plan({}), job.parent / "out")
    lines = [line.strip() for line in plan_lines(plan)]
    assert [one for one in lines if "approv" in one and "inspect" not in one] == [
        "approved by Ines Falkenrath (2026-11-25)",
        "waits for approval",
    ]
    assert '"reviewer": "Ines Falkenrath"' in plan_json(plan)
    assert [one.name for one in missing_approvals(plan)] == [SPOON]
    assert [one.name for one in missing_approvals(plan, "blog")] == []
    assert before == (job.parent / "out" / FILE).stat().st_mtime_ns, "a look writes nothing"


def test_the_plan_needs_no_output_folder(job: Path) -> None:
    take(job, answer(job, {BOWL: "approve"}))
    shutil.rmtree(job.parent / "out")
    plan = approved_so_far(survey(job).plan({}), job.parent / "out")
    assert [one.name for one in missing_approvals(plan)] == [SPOON]
    assert {"bowl": file_digest(job.parent / "bowl.jpg")}.items() <= known_contents(plan, job.parent / "out").items()
    assert not (job.parent / "out").exists()


def test_a_picture_that_changed_after_its_approval_waits_again(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve", "wooden-spoon": "approve"}))
    run(job)
    assert finals(job) == list(FINALS)
    stale = (job.parent / "out" / FINALS[1]).read_bytes()
    move_the_spoon(job)
    summary = run(job)
    lines = said(summary, job)
    assert f"1 rendition waits for approval: {SPOON}" in lines
    assert (
        "note: 1 file made earlier is not what was approved; left in place, in neither the manifest nor the code for "
        f"the post: {FINALS[1]}"
    ) in lines
    assert stale == (job.parent / "out" / FINALS[1]).read_bytes()
    assert manifest(job)[SPOON]["files"] == []
    assert len(manifest(job)[BOWL]["files"]) == 1
    sheet = (job.parent / "out" / "sheet" / "index.html").read_text(encoding="utf-8")
    assert FINALS[0] in sheet
    assert FINALS[1] not in sheet, "the sheet does not lead to what is not approved"


def test_a_final_of_an_earlier_picture_is_not_delivered_as_the_approved_one(job: Path) -> None:
    take(job, answer(job, {"wooden-spoon": "approve"}))
    run(job)
    move_the_spoon(job)
    run(job)
    take(job, answer(job, {"wooden-spoon": "approve"}, name="second.json"))
    summary = run(job, only="bowl/*")  # approved now, but not asked to be made
    assert manifest(job)[SPOON]["files"] == []
    assert summary.unapproved == (FINALS[1],)
    run(job)
    assert [FINALS[1]] == [file["path"] for file in manifest(job)[SPOON]["files"]]


def test_an_approval_that_was_taken_back(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve"}))
    run(job)
    take(job, answer(job, {"bowl": "change"}, date="2026-11-26"))
    assert run(job).unapproved == (FINALS[0],)
    assert manifest(job)[BOWL]["files"] == []


def test_reviewers_who_disagree_hold_it_back(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve"}), answer(job, {"bowl": "change"}, name="bo.json", reviewer="Bo"))
    run(job)
    assert finals(job) == []


def test_a_corrected_caption_and_a_better_quality_keep_the_approval(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve"}))
    text = job.read_text(encoding="utf-8").replace("A bowl of soup", "A bowl of bean soup")
    job.write_text(f'{text}\n[targets."partner/final"]\nquality = {{ jpeg = 70 }}\n', encoding="utf-8")
    run(job)
    assert finals(job) == [FINALS[0]]


def test_with_approved_everything_but_proofs_waits(job: Path) -> None:
    take(job, answer(job, {"bowl/blog/step": "change", BOWL: "approve"}))
    summary = run(job, approved=True)
    assert [one.name for one in sorted(missing_approvals(summary.plan), key=lambda one: one.target)] == [
        SPOON,
        "bowl/blog/step",
    ]
    assert manifest(job)["bowl/blog/step"]["files"] == []
    assert all(len(manifest(job)[name]["files"]) == 1 for name in PROOFS)
    assert len(summary.unapproved) == 4, "the steps that the first export made"
    web = (job.parent / "out" / "web" / "index.html").read_text(encoding="utf-8")
    assert "bean-soup-bowl-step-480" not in web
    assert "Waiting for approval, so not named here: bowl/blog/step." in web
    run(job)
    assert len(manifest(job)["bowl/blog/step"]["files"]) == 4


def test_a_new_shoot_exported_approved_makes_proofs_alone(tmp_path: Path) -> None:
    job = shoot(tmp_path)
    summary = run(job, approved=True)
    made = sorted(path for path in summary.made if not path.startswith("sheet/"))
    assert made == ["partner/bean-soup-bowl-proof-600.jpg", "partner/bean-soup-wooden-spoon-proof-540.jpg"]


def test_a_kept_reply_that_was_spoiled_stops_the_export(job: Path) -> None:
    take(job, answer(job, {"bowl": "approve"}))
    (kept,) = (job.parent / "replies").iterdir()
    kept.write_bytes(kept.read_bytes()[:-10])
    with pytest.raises(RequestRefused, match=f"^replies/{kept.name}: it ends in the middle"):
        run(job)


def test_an_output_folder_that_is_the_job_s_own(tmp_path: Path) -> None:
    job = shoot(tmp_path, JOB)
    for _ in range(2):
        export(Asked(job, tmp_path, workers=1, quiet=True), io.StringIO())
        take_replies(job, tmp_path, [answer_beside(job)], TODAY)
    assert (tmp_path / FINALS[0]).exists()
    assert reviewer_slug("Ines Falkenrath") in next(iter((tmp_path / "replies").iterdir())).name


def answer_beside(job: Path) -> Path:
    from pipeline.ledger.book import read_rounds  # noqa: PLC0415 (this test alone looks there)

    return answer(job, {"bowl": "approve"}, read_rounds(job.parent)[-1])
