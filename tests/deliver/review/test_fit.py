"""A reply held against the rounds that were shown."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from pipeline.deliver.review.fit import fitted, keys_of, round_of, since_then
from pipeline.deliver.review.reply_file import Reply
from pipeline.deliver.review.round import round_id
from pipeline.ledger.rounds import Round, Shown
from pipeline.light.box import Box, Size
from tests.deliver.review.answers import FINAL_KEY, PROOF_KEY, ROUND, frame, rendition, reply

NEW = "e" * 32


def shown(name: str, picture_key: str) -> Shown:
    return Shown(name, picture_key, None, Size(10, 10), Box(0, 0, 10, 10))


PARTNER = Round(
    ROUND,
    "partner",
    3,
    (
        shown("bowl/partner/proof", PROOF_KEY),
        shown("bowl/partner/final", FINAL_KEY),
        shown("bowl/sheet/whole", "f" * 32),
        shown("spoon/partner/proof", "d" * 32),
        shown("spoon/sheet/whole", "9" * 32),
    ),
)
KEYS = {"bowl/partner/proof": PROOF_KEY, "bowl/partner/final": FINAL_KEY, "spoon/partner/proof": "d" * 32}


def answer(*frames: Any, **changed: Any) -> Reply:  # noqa: ANN401 (parts of a reply)
    return Reply.model_validate_json(json.dumps(reply(*frames, **changed)))


def fit(given: Reply, *rounds: Round, keys: dict[str, str] | None = None) -> Reply | list[str]:
    found = fitted(given, rounds or (PARTNER,), KEYS if keys is None else keys, "Bean soup", Path("out"), "reply.json")
    return [str(one) for one in found] if isinstance(found, list) else found


def test_what_a_reply_leaves_out_is_open_and_has_its_key() -> None:
    found = fit(answer(frame("bowl", "approve", "", (), rendition("partner/final", None, "change"))))
    assert isinstance(found, Reply)
    bowl, spoon = found.frames
    assert (spoon.frame, spoon.verdict, [one.key for one in spoon.renditions]) == ("spoon", None, ["d" * 32])
    expected = [("partner/proof", PROOF_KEY, None), ("partner/final", FINAL_KEY, "change")]
    assert expected == [(one.rendition, one.key, one.verdict) for one in bowl.renditions]
    assert keys_of(found) == KEYS


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (
            answer(frame("bowll")),
            "round 3 showed no frame 'bowll'; it showed bowl, spoon; did you mean 'bowl'?",
        ),
        (
            answer(frame("bowl", None, "", (), rendition("partner/prof"))),
            (
                "round 3 did not show 'partner/prof' of the frame 'bowl'; it showed partner/proof, partner/final; "
                "did you mean 'partner/proof'?"
            ),
        ),
        (
            answer(frame("bowl", None, "", (), rendition("sheet/whole", None))),
            "round 3 did not show 'sheet/whole' of the frame 'bowl'; it showed partner/proof, partner/final",
        ),
        (
            answer(frame("bowl", None, "", (), rendition("partner/proof", NEW))),
            (
                "the key of 'partner/proof' of the frame 'bowl' is not that of round 3; "
                "the reply was changed on its way: ask for it to be sent again"
            ),
        ),
        (answer(frame("bowl"), frame("bowl")), "it answers the frame 'bowl' twice; ask for it to be sent again"),
        (
            answer(frame("bowl", None, "", (), rendition(), rendition())),
            "it answers 'partner/proof' of the frame 'bowl' twice; ask for it to be sent again",
        ),
    ],
)
def test_what_its_round_did_not_show(given: Reply, sentence: str) -> None:
    assert fit(given) == [f"reply.json: {sentence}"]


def test_all_that_does_not_belong_is_told_at_once() -> None:
    found = fit(answer(frame("bowll"), frame("spoom"), frame("bowl", None, "", (), rendition("partner/prof"))))
    assert isinstance(found, list)
    assert len(found) == 3


def test_a_round_that_is_not_known_here() -> None:
    unknown = answer(round="1" * 64)
    assert fit(unknown, keys={}) == [
        ("reply.json: it answers a round that out does not know; "
        "name the folder that its contact sheet came from with --out")
    ]  # fmt: skip
    assert fit(answer(round="1" * 64, shoot="Salad"), keys={}) == [
        ("reply.json: it answers a round that out does not know, of the shoot 'Salad'; "
        "name the job of that shoot: this is 'Bean soup'")
    ]  # fmt: skip
    assert fit(unknown) == unknown, "its pictures are those that the job makes now"


def test_of_two_sheets_with_the_same_pictures_the_one_for_the_outlet_was_answered() -> None:
    hers = Round(ROUND, None, 7, PARTNER.shown)
    assert round_of(answer(), (hers, PARTNER)) == PARTNER
    assert round_of(answer(outlet=None), (hers, PARTNER)) == hers
    assert round_of(answer(outlet="feed"), (hers, PARTNER)) == hers
    assert round_of(answer(round="1" * 64), (hers, PARTNER)) is None


def test_an_answer_to_this_round_needs_no_word() -> None:
    given = answer(round=round_id(KEYS.values()))
    assert since_then(given, PARTNER, KEYS) is None
    assert since_then(given, PARTNER, KEYS | {"bowl/blog/step": NEW}) is None, "another outlet's pictures"


def test_an_answer_to_an_earlier_round_says_what_holds_and_what_changed() -> None:
    given = answer(
        frame("bowl", None, "", (), rendition(), rendition("partner/final", FINAL_KEY)),
        frame("spoon", None, "", (), rendition("partner/proof", "d" * 32)),
    )
    assert since_then(given, PARTNER, KEYS | {"cup/partner/proof": NEW}) == (
        "it answers round 3, not this one; every picture in it is still the same, so all of it holds"
    )
    assert since_then(given, PARTNER, KEYS | {"bowl/partner/final": NEW}) == (
        "it answers round 3; it holds for what is unchanged: bowl/partner/proof, spoon; "
        "changed since: bowl/partner/final"
    )
    assert since_then(given, None, dict.fromkeys(KEYS, NEW)) == (
        "it answers a round that is not known here; every picture in it has changed since, so none of it stands: "
        "bowl, spoon"
    )
