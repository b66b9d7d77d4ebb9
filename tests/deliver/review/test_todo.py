"""What to do after an answer, in lines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.review.take import take_replies
from pipeline.deliver.review.todo import reply_lines
from pipeline.faults import printable_line
from tests.deliver.review.answers import spot
from tests.deliver.review.shoot import answer, run
from tests.deliver.review.test_take import TODAY

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.ledger.rounds import Round


def lines(job: Path, *files: Path) -> list[str]:
    """Return what is printed, without the folder of the test."""
    taken, standing = take_replies(job, job.parent / "out", files, TODAY)
    return [printable_line(line).replace(f"{job.parent}/", "") for line in reply_lines(taken, standing)]


def test_nothing_was_answered_yet(job: Path) -> None:
    assert lines(job) == ["no reply was taken yet"]


def test_everything_is_approved(job: Path) -> None:
    given = answer(job, {"bowl": ["approve", "lovely"], "wooden-spoon": "approve"})
    said = lines(job, given)
    round_id = given.read_text(encoding="utf-8").partition('"round": "')[2][:12]
    assert said == [
        "reply.json: Ines Falkenrath answers round 1 of your own sheet, 2026-11-25",
        f"   kept as replies/{round_id}-ines-falkenrath-2026-11-25.json",
        "",
        "1. bowl",
        "   approved by Ines Falkenrath, 2026-11-25",
        '      "lovely"',
        "",
        "2. wooden-spoon",
        "   approved by Ines Falkenrath, 2026-11-25",
        "",
        "5 renditions: 5 approved",
        "next: plateline export job.toml, which makes what is approved",
    ]


def test_a_change_with_its_places(job: Path) -> None:
    said = lines(
        job,
        answer(
            job,
            {
                "bowl": ["change", "Could the spoon be out?\n\nIt shines.", spot(0.31, 0.3, 0.62, 0.8)],
                "bowl/partner/proof": ["change", "tighter", spot(0.5, 0.5)],
                "wooden-spoon/partner/proof": ["change", "", spot(0.5, 0.5), spot(0, 0, 1, 1)],
            },
        ),
    )
    first = said.index("1. bowl")
    assert said[first : first + 12] == [
        "1. bowl",
        "   blog/step, partner/final: change, says Ines Falkenrath, 2026-11-25",
        '      "Could the spoon be out?"',
        '      "It shines."',
        "      box 0.31 0.30 0.62 0.80 of the frame = about 186,120 to 372,320 px of the frame",
        "   partner/proof: change, says Ines Falkenrath, 2026-11-25",
        '      "tighter"',
        "      point 0.50 0.50 of partner/proof = about 300,200 px of the frame",
        "",
        "2. wooden-spoon",
        "   partner/proof: change, says Ines Falkenrath, 2026-11-25",
        # The spoon is 600 x 410; its proof is cut 3:2 with the subject on a crossing of the thirds.
        said[first + 11],
    ]
    assert said[first + 11].startswith("      point 0.50 0.50 of partner/proof = about ")
    assert "   still open: partner/final" in said
    assert said[-2:] == [
        "5 renditions: 4 to change, 1 still open",
        "next: settle that in job.toml by hand, then: plateline export job.toml",
    ]


def test_what_is_to_be_left_out_says_which_line(job: Path) -> None:
    said = lines(job, answer(job, {"wooden-spoon": "leave-out", "bowl/partner/proof": ["leave-out", "no"]}))
    assert "   leave out, says Ines Falkenrath, 2026-11-25" in said
    assert "      to do so: take the [[frames]] of spoon.jpg out of job.toml, line 13" in said
    (line,) = [one for one in said if one.startswith('      to do so: take "partner/*"')]
    assert line.endswith('out of the targets of bowl.jpg in job.toml, line 11 and write "partner/final" instead')
    assert said.index("   partner/proof: leave out, says Ines Falkenrath, 2026-11-25") < said.index('      "no"')


def test_a_partner_leaves_out_what_she_was_shown(job: Path) -> None:
    from tests.deliver.review.test_now import review  # noqa: PLC0415 (this test alone writes a partner's round)

    review(job, "partner")
    from tests.deliver.review.shoot import last_round  # noqa: PLC0415 (as above)

    shown: Round = last_round(job, "partner")
    said = lines(job, answer(job, {"bowl": "leave-out"}, shown))
    assert said[0] == "reply.json: Ines Falkenrath answers round 1 of the sheet for partner, 2026-11-25"
    assert '      to do so: take "partner/*" out of the targets of bowl.jpg in job.toml, line 11' in said
    assert not any("blog/step" in line for line in said), "nobody asked her about the blog"


def test_two_reviewers_who_disagree(job: Path) -> None:
    said = lines(
        job,
        answer(job, {"bowl": "approve", "wooden-spoon": "approve"}),
        answer(job, {"bowl": ["change", "too dark"], "wooden-spoon": "approve"}, name="bo.json", reviewer="Bo"),
    )
    first = said.index("1. bowl")
    assert said[first + 1 : first + 6] == [
        "   approve, says Ines Falkenrath, 2026-11-25",
        "   change, says Bo, 2026-11-25",
        '      "too dark"',
        "   they disagree about blog/step, partner/proof, partner/final: Bo says change, Ines Falkenrath says approve",
        "      that is yours to settle; until they agree it is not approved",
    ]
    assert "   approved by Bo, 2026-11-25" in said
    assert "   approved by Ines Falkenrath, 2026-11-25" in said
    assert said[-2] == "5 renditions: 2 approved, 3 in dispute"


def test_what_stands_can_be_asked_again(job: Path) -> None:
    given = answer(job, {"bowl": "approve"})
    first = lines(job, given)
    assert lines(job) == first[2:]
    again = lines(job, given)
    assert again[1].startswith("   this very reply was taken before: it is replies/")


def test_words_of_a_picture_that_changed_are_not_lost(job: Path) -> None:
    given = answer(
        job,
        {
            "wooden-spoon": ["change", "all of it", spot(0.5, 0.5)],
            "wooden-spoon/partner/proof": ["approve", "but this", spot(0, 0)],
        },
    )
    text = job.read_text(encoding="utf-8").replace("subject = [0.4, 0.6]", "subject = [0.6, 0.4]")
    job.write_text(text, encoding="utf-8")
    run(job)
    said = lines(job, given)
    spoon = said.index("2. wooden-spoon")
    assert said[spoon + 1 : spoon + 5] == [
        "   still open",
        "   change, said Ines Falkenrath, 2026-11-25 of the earlier picture, which has changed since",
        '      "all of it"',
        "      point 0.50 0.50 of the frame = about 300,205 px of the frame",
    ]
    assert (
        "   partner/proof: approve, said Ines Falkenrath, 2026-11-25 of the earlier picture, which has changed since"
        in said
    )
    assert '      "but this"' in said


def test_words_without_a_verdict_are_not_lost(job: Path) -> None:
    said = lines(
        job, answer(job, {"bowl": [None, "which bowl?"], "wooden-spoon/partner/proof": [None, "", spot(1, 1)]})
    )
    bowl, spoon = said.index("1. bowl"), said.index("2. wooden-spoon")
    assert said[bowl + 1 : bowl + 4] == [
        "   still open",
        "   no verdict, but words of Ines Falkenrath, 2026-11-25",
        '      "which bowl?"',
    ]
    assert said[spoon + 2] == "   partner/proof: no verdict, but words of Ines Falkenrath, 2026-11-25"


def test_words_on_a_frame_whose_pictures_have_verdicts_of_their_own_are_not_lost(job: Path) -> None:
    targets = ("proof", "final")
    verdicts = {f"wooden-spoon/partner/{target}": "approve" for target in targets}
    said = lines(job, answer(job, {"wooden-spoon": ["change", "for another time"], **verdicts}))
    assert (
        "   change, says Ines Falkenrath, 2026-11-25 of the whole frame, whose pictures have verdicts of their own"
    ) in said
    assert '      "for another time"' in said


def test_words_on_a_frame_that_is_called_otherwise_now_are_not_lost(job: Path) -> None:
    given = answer(job, {"wooden-spoon": [None, "which one?"], "wooden-spoon/partner/proof": ["approve", "this one"]})
    job.write_text(job.read_text(encoding="utf-8").replace('"wooden-spoon"', '"big-spoon"'), encoding="utf-8")
    said = lines(job, given)
    spoon, gone = said.index("2. big-spoon"), said.index("wooden-spoon, which the job does not have now")
    assert said[spoon + 1 : spoon + 3] == [
        "   partner/proof: approved by Ines Falkenrath, 2026-11-25",
        '      "this one"',
    ]
    assert said[gone + 1 : gone + 4] == [
        "   no verdict, but words of Ines Falkenrath, 2026-11-25",
        '      "which one?"',
        "",
    ]


def test_words_on_a_frame_that_is_gone_are_not_lost(job: Path) -> None:
    given = answer(job, {"wooden-spoon": ["leave-out", "please"]})
    text = job.read_text(encoding="utf-8")
    job.write_text(text[: text.rindex("[[frames]]")], encoding="utf-8")
    said = lines(job, given)
    gone = said.index("wooden-spoon, which the job does not have now")
    assert said[gone + 2] == '      "please"'


@pytest.mark.parametrize(
    "words",
    ["<script>alert(1)</script>", "\x1b[2J\x1b]0;owned\x07", "\u202egnp.exe", "\x9b31m", "javascript:alert(1)", "a\rb"],
)
def test_hostile_words_act_on_nothing_in_her_terminal(job: Path, words: str) -> None:
    said = lines(job, answer(job, {"bowl": ["change", words]}, reviewer=f"x{words}", shoot=words))
    assert all(line.isprintable() for line in said)
    assert any(printable_line(words.replace("\r", "\n").split("\n")[0]) in line for line in said)


def test_a_note_of_ten_thousand_letters_is_printed_whole(job: Path) -> None:
    words = "0123456789" * 1000
    assert f'      "{words}"' in lines(job, answer(job, {"bowl": ["change", words]}))
