"""Where a review stands when the next sheet is written, and the earlier prints beside it."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.deliver.review.approved import known_contents
from pipeline.deliver.review.now import review_of
from pipeline.deliver.review.replies import read_replies
from pipeline.deliver.review.round import earlier_path, round_id, whole_name
from pipeline.deliver.review.state import Before, Spot
from pipeline.deliver.review.take import take_replies
from pipeline.deliver.sheet.write import with_made_previews
from pipeline.deliver.survey import delivered_names, survey
from pipeline.ledger.book import Ledger
from tests.deliver.review.answers import spot
from tests.deliver.review.shoot import answer, last_round, run
from tests.deliver.review.test_take import TODAY
from tests.small_shoot import frame as picture

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.review.state import Review

PROOF = "wooden-spoon/partner/proof"


def take(job: Path, *files: Path) -> None:
    take_replies(job, job.parent / "out", files, TODAY)


def review(job: Path, outlet: str | None = None) -> Review:
    """Return the review as an export hands it to the sheet."""
    out = job.parent / "out"
    plan = survey(job).plan(delivered_names(out))
    with Ledger(out) as ledger:
        shown = with_made_previews(plan, ledger.made())
        return review_of(shown, known_contents(plan, out), ledger, read_replies(job), outlet)


def move_the_spoon(job: Path) -> None:
    text = job.read_text(encoding="utf-8")
    assert "subject = [0.4, 0.6]" in text
    job.write_text(text.replace("subject = [0.4, 0.6]", "subject = [0.6, 0.4]"), encoding="utf-8")


def prints(job: Path) -> set[str]:
    folder = job.parent / "out" / "sheet" / "earlier"
    return {path.name for path in folder.iterdir()} if folder.exists() else set()


def test_a_first_round_shows_every_picture_and_knows_of_no_words(job: Path) -> None:
    found = review(job)
    assert (found.number, found.outlet, found.standings) == (1, None, {})
    assert list(found.keys) == [
        "bowl/blog/step", "bowl/partner/proof", "bowl/partner/final", PROOF, "wooden-spoon/partner/final",
    ]  # fmt: skip
    assert found.round_id == round_id(found.keys.values())
    assert last_round(job).id == found.round_id


def test_an_outlet_s_sheet_is_a_round_of_its_own(job: Path) -> None:
    found = review(job, "partner")
    assert (found.number, found.outlet) == (1, "partner")
    assert "bowl/blog/step" not in found.keys
    assert last_round(job, "partner").id == found.round_id


def test_what_stands_is_carried_over(job: Path) -> None:
    take(job, answer(job, {"bowl": ["change", "the spoon", spot(0.5, 0.5)], PROOF: ["approve", "fine"]}))
    found = review(job)
    assert set(found.standings) == {"bowl", PROOF}
    (bowl,) = found.standings["bowl"]
    assert (bowl.verdict, bowl.note, bowl.spots, bowl.reviewer) == (
        "change", "the spoon", (Spot((0.5, 0.5)),), "Ines Falkenrath",
    )  # fmt: skip
    assert (bowl.date, bowl.round_number, bowl.stands, bowl.before) == ("2026-11-25", 1, True, None)
    (proof,) = found.standings[PROOF]
    assert (proof.verdict, proof.stands) == ("approve", True)


def test_two_reviewers_stand_side_by_side_the_newest_first(job: Path) -> None:
    bo = answer(job, {"bowl": "approve"}, name="bo.json", reviewer="Bo", date="2026-11-26")
    take(job, answer(job, {"bowl": "change"}), bo)
    assert [one.reviewer for one in review(job).standings["bowl"]] == ["Bo", "Ines Falkenrath"]


def test_a_picture_that_changed_lies_beside_the_one_that_was_judged(job: Path) -> None:
    first = last_round(job)
    take(job, answer(job, {PROOF: ["change", "to the left"], "bowl": "approve"}))
    judged = {one.rendition: one for one in first.shown}[PROOF]
    print_before = (job.parent / "out/sheet/previews/wooden-spoon--partner--proof.jpg").read_bytes()
    move_the_spoon(job)
    run(job)
    found = review(job)
    assert found.number == 2
    (proof,) = found.standings[PROOF]
    assert (proof.verdict, proof.note, proof.round_number, proof.stands) == ("change", "to the left", 1, False)
    assert proof.before == Before(earlier_path(judged.picture_key), judged.preview)
    assert print_before == (job.parent / "out" / proof.before.path).read_bytes()
    with Image.open(job.parent / "out" / proof.before.path) as image:
        assert (proof.before.size.width, proof.before.size.height) == image.size
    assert found.standings["bowl"][0].stands


def test_a_frame_that_was_taken_anew_lies_beside_the_earlier_one(job: Path) -> None:
    whole = {one.rendition: one for one in last_round(job).shown}[whole_name("bowl")]
    take(job, answer(job, {"bowl": "change"}))
    picture(job.parent / "bowl.jpg", (640, 400))
    run(job)
    (bowl,) = review(job).standings["bowl"]
    assert (bowl.stands, bowl.before) == (False, Before(earlier_path(whole.picture_key), whole.preview))


def test_a_partner_is_shown_no_words_of_others(job: Path) -> None:
    of_partner = review(job, "partner")
    hers = answer(job, {"bowl": ["change", "private: my own note"]}, name="hers.json")
    theirs = answer(job, {"bowl": "change", PROOF: "change"}, last_round(job, "partner"), reviewer="Bo")
    take(job, hers, theirs)
    found = review(job, "partner")
    assert found.round_id == of_partner.round_id
    assert [one.reviewer for one in found.standings["bowl"]] == ["Bo"]
    assert "private" not in repr(found)
    assert {one.reviewer for one in review(job).standings["bowl"]} == {"Bo", "Ines Falkenrath"}
    picture(job.parent / "bowl.jpg", (640, 400))
    run(job)
    assert {one.reviewer: one.before is not None for one in review(job).standings["bowl"]} == {
        "Bo": True,
        "Ines Falkenrath": True,
    }


def test_a_later_round_keeps_the_prints_of_the_last_one_that_was_answered(job: Path) -> None:
    first = {one.rendition: one.picture_key for one in last_round(job).shown}
    take(job, answer(job, {PROOF: "change"}))
    move_the_spoon(job)
    run(job)
    second = {one.rendition: one.picture_key for one in last_round(job).shown}
    assert prints(job) == {f"{first[name]}.jpg" for name in (PROOF, "wooden-spoon/partner/final")}
    text = job.read_text(encoding="utf-8").replace("subject = [0.6, 0.4]", "subject = [0.9, 0.9]")
    job.write_text(text, encoding="utf-8")
    run(job)
    assert last_round(job).number == 3
    assert prints(job) == {f"{first[name]}.jpg" for name in (PROOF, "wooden-spoon/partner/final")}
    assert second[PROOF] != first[PROOF]


def test_where_nobody_answered_the_last_round_lies_beside_this_one(job: Path) -> None:
    expected = set()
    for subject, before in (("[0.6, 0.4]", "[0.4, 0.6]"), ("[0.9, 0.9]", "[0.6, 0.4]")):
        shown = {one.rendition: one.picture_key for one in last_round(job).shown}
        expected = {f"{shown[name]}.jpg" for name in (PROOF, "wooden-spoon/partner/final")}
        text = job.read_text(encoding="utf-8").replace(f"subject = {before}", f"subject = {subject}")
        job.write_text(text, encoding="utf-8")
        run(job)
    assert prints(job) == expected


def test_a_corrected_caption_starts_no_round_and_keeps_no_print(job: Path) -> None:
    job.write_text(job.read_text(encoding="utf-8").replace("A bowl of soup", "A bowl of bean soup"), encoding="utf-8")
    run(job)
    assert last_round(job).number == 1
    assert prints(job) == set()
    move_the_spoon(job)  # its print is found though its file was written anew since the round was shown
    run(job)
    assert len(prints(job)) == 2


def test_the_first_state_again_is_the_first_round_again(job: Path) -> None:
    move_the_spoon(job)
    run(job)
    assert review(job).number == 2
    text = job.read_text(encoding="utf-8").replace("subject = [0.6, 0.4]", "subject = [0.4, 0.6]")
    job.write_text(text, encoding="utf-8")
    run(job)
    assert review(job).number == 1


def test_other_files_among_the_earlier_prints_are_left_alone(job: Path) -> None:
    folder = job.parent / "out" / "sheet" / "earlier"
    folder.mkdir()
    for name in ("hers.jpg", "0" * 32 + ".jpg"):
        (folder / name).write_bytes(b"x")
    run(job)
    assert prints(job) == {"hers.jpg"}
    shutil.rmtree(folder)
    folder.symlink_to(job.parent)
    move_the_spoon(job)
    with pytest.raises(OSError, match=r"no plain file is in its place|leads out of the output folder"):
        run(job)


def test_a_sheet_never_shows_a_picture_of_before_as_this_round_s(job: Path) -> None:
    move_the_spoon(job)
    run(job, only="bowl/*")  # the spoon's prints are not made anew
    shown = {one.rendition for one in last_round(job).shown}
    assert shown == {
        "bowl/blog/step",
        "bowl/partner/proof",
        "bowl/partner/final",
        "bowl/sheet/whole",
        whole_name("wooden-spoon"),
    }
