"""Who said what of a picture last."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.review.replies import Kept, reviewer_id
from pipeline.deliver.review.reply_file import Reply
from pipeline.deliver.review.said import Heard, approvals, frame_words, heard, own_words, verdicts_on
from pipeline.deliver.review.state import Spot
from tests.deliver.review.answers import FINAL_KEY, PROOF_KEY, frame, rendition, reply, spot

if TYPE_CHECKING:
    from collections.abc import Sequence

KEYS = {"bowl/partner/proof": PROOF_KEY, "bowl/partner/final": FINAL_KEY}
NEW = "e" * 32


def newest(*documents: dict[str, Any]) -> tuple[Heard, ...]:
    """Return replies, the newest given first."""
    return heard(Kept(Reply.model_validate_json(json.dumps(one)), str(number)) for number, one in enumerate(documents))


def of(verdict: str | None, proof: str | None = None, final: str | None = None, **changed: Any) -> dict[str, Any]:  # noqa: ANN401
    """Return a reply to both pictures of one frame."""
    answers = rendition("partner/proof", PROOF_KEY, proof), rendition("partner/final", FINAL_KEY, final)
    return reply(frame("bowl", verdict, "", (), *answers), **changed)


def approved(*documents: dict[str, Any]) -> set[str]:
    return {name.rpartition("/")[2] for name in approvals(KEYS, newest(*documents))}


def test_nothing_said_is_nothing_approved() -> None:
    assert approved() == set()
    assert approved(of(None)) == set()


def test_a_frame_approved_approves_its_pictures() -> None:
    assert approved(of("approve")) == {"proof", "final"}


def test_the_own_verdict_of_a_picture_goes_before_its_frames() -> None:
    assert approved(of("approve", final="change")) == {"proof"}
    assert approved(of("change", final="approve")) == {"final"}
    assert approved(of("leave-out", final="approve")) == {"final"}


def test_reviewers_who_disagree_have_approved_nothing() -> None:
    bo = {"reviewer": "Bo"}
    assert approved(of("approve"), of("approve", **bo)) == {"proof", "final"}
    assert approved(of("approve"), of("approve", final="change", **bo)) == {"proof"}
    assert approved(of("approve"), of(None, **bo)) == {"proof", "final"}, "who says nothing is in nobody's way"


def test_the_newest_word_of_each_reviewer_counts() -> None:
    bo = {"reviewer": "Bo"}
    assert approved(of("approve"), of("change")) == {"proof", "final"}
    assert approved(of("change"), of("approve")) == set()
    assert approved(of(None, final="approve", **bo), of("approve"), of("change", **bo)) == {"final"}
    assert approved(of(None), of("approve")) == {"proof", "final"}, "what was left open the second time still stands"


def test_who_approved_is_told_with_date_and_round() -> None:
    found = approvals(KEYS, newest(of("approve"), of("approve", reviewer="Bo\x1b[31m", date="2026-11-24")))
    (ines, bo) = found["bowl/partner/final"]
    assert (ines.reviewer, ines.date, ines.round_id) == ("Ines Falkenrath", "2026-11-25", reply()["round"])
    assert (bo.reviewer, bo.date) == ("Bo\\x1b[31m", "2026-11-24")


def test_a_picture_that_changed_is_approved_no_more() -> None:
    assert approvals(KEYS | {"bowl/partner/final": NEW}, newest(of("approve"))).keys() == {"bowl/partner/proof"}


def test_a_frame_that_is_called_otherwise_keeps_its_approval() -> None:
    assert set(approvals({"soup/partner/final": FINAL_KEY}, newest(of("approve")))) == {"soup/partner/final"}


def test_the_same_pixels_for_another_target_are_not_approved_with_it() -> None:
    assert approvals({"bowl/blog/step": FINAL_KEY}, newest(of("approve"))) == {}


def test_of_two_frames_with_the_same_pixels_each_has_its_own_answer() -> None:
    twins = reply(
        frame("one", "approve", "", (), rendition()), frame("two", "change", "", (), rendition()), frame("three")
    )
    keys = {f"{slug}/partner/proof": PROOF_KEY for slug in ("one", "two", "three", "four")}
    assert set(approvals(keys, newest(twins))) == {"one/partner/proof", "four/partner/proof"}


def test_words_carry_note_and_places() -> None:
    document = reply(frame("bowl", "change", "the spoon", (spot(0.5, 0.5),)))
    (words,) = verdicts_on("bowl/partner/proof", PROOF_KEY, newest(document))
    assert (words.verdict, words.note, words.of_frame) == ("change", "the spoon", True)
    assert words.spots == (Spot((0.5, 0.5)),)
    (own,) = own_words("bowl/partner/proof", PROOF_KEY, newest(of(None, proof="change")))
    assert (own.of_frame, own.stands, own.picture_key) == (False, True, PROOF_KEY)
    assert own_words("bowl/partner/proof", PROOF_KEY, newest(document)) == (), "it was said of the frame"


def test_what_was_said_of_an_earlier_picture_does_not_stand() -> None:
    (words,) = own_words("bowl/partner/proof", NEW, newest(of(None, proof="change")))
    assert (words.verdict, words.stands, words.picture_key) == ("change", False, PROOF_KEY)


def test_what_stands_goes_before_what_is_newer_and_does_not() -> None:
    earlier = reply(frame("bowl", None, "", (), rendition("partner/proof", NEW, "approve")))
    (words,) = own_words("bowl/partner/proof", NEW, newest(of(None, proof="change"), earlier))
    assert (words.verdict, words.stands) == ("approve", True)


def test_a_newer_word_on_the_frame_replaces_one_on_the_picture() -> None:
    assert own_words("bowl/partner/proof", PROOF_KEY, newest(of("change"), of(None, proof="approve"))) == ()


def test_words_on_a_frame_stand_while_all_of_its_pictures_do() -> None:
    replies = newest(of("change"))
    assert [one.stands for one in frame_words("bowl", KEYS, replies)] == [True]
    assert [one.stands for one in frame_words("bowl", KEYS | {"bowl/partner/final": NEW}, replies)] == [False]
    assert [one.stands for one in frame_words("bowl", KEYS | {"bowl/blog/step": NEW}, replies)] == [False]
    assert frame_words("spoon", {}, replies) == ()


VERDICTS = st.sampled_from(["approve", "change", "leave-out", None])
REPLIES = st.lists(st.tuples(st.sampled_from(["Ines", "Bo", "ines "]), VERDICTS, VERDICTS), max_size=6)


def approved_by_reading_along(documents: Sequence[tuple[str, str | None, str | None]]) -> bool:
    """Return whether a picture is approved, by going through the replies from the oldest to the newest."""
    last: dict[str, str] = {}
    for reviewer, of_frame, own in reversed(documents):
        verdict = own or of_frame
        if verdict:
            last[reviewer_id(reviewer)] = verdict
    return bool(last) and set(last.values()) == {"approve"}


@given(REPLIES)
def test_approval_is_what_one_finds_reading_the_answers_in_their_order(
    answers: list[tuple[str, str | None, str | None]],
) -> None:
    documents = [of(of_frame, proof=own, reviewer=name) for name, of_frame, own in answers]
    assert approved_by_reading_along(answers) == ("proof" in approved(*documents))
