"""Replies taken in: the whole way from files to what is kept."""

from __future__ import annotations

import datetime as dt
import shutil
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.review.take import take_replies
from pipeline.faults import RequestRefused
from tests.deliver.review.answers import frame, reply, text_of
from tests.deliver.review.shoot import answer, last_round, run

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.review.take import Taken

TODAY = dt.date(2026, 11, 26)


def take(job: Path, *files: Path) -> tuple[Taken, ...]:
    return take_replies(job, job.parent / "out", files, TODAY)[0]


def refused(job: Path, *files: Path) -> list[str]:
    before = {path: path.read_bytes() for path in job.parent.rglob("*") if path.is_file()}
    with pytest.raises(RequestRefused) as refusal:
        take(job, *files)
    assert before == {path: path.read_bytes() for path in job.parent.rglob("*") if path.is_file()}, "nothing written"
    return [str(fault).replace(f"{job.parent}/", "") for fault in refusal.value.faults]


def kept_in(job: Path) -> list[str]:
    return sorted(path.name for path in (job.parent / "replies").iterdir())


def test_a_reply_is_kept_and_the_job_is_not_touched(job: Path) -> None:
    before = job.read_bytes(), job.stat().st_mtime_ns
    (taken,) = take(job, answer(job, {"bowl": "approve"}))
    assert kept_in(job) == [taken.kept.name]
    assert (taken.again, taken.notes) == (False, ())
    assert taken.answered == last_round(job)
    assert before == (job.read_bytes(), job.stat().st_mtime_ns)


def test_the_same_reply_twice_is_kept_once(job: Path) -> None:
    first, second = take(job, answer(job, {"bowl": "approve"}), answer(job, {"bowl": "approve"}, name="again.json"))
    assert (first.again, second.again) == (False, True)
    (third,) = take(job, answer(job, {"bowl": "approve"}))
    assert third.again
    assert kept_in(job) == [first.kept.name]


def test_the_same_reply_as_file_and_as_text_is_one(job: Path) -> None:
    given = answer(job, {"wooden-spoon": ["change", "The spoon is mine."]})
    # The text of a page says nothing of what is open.
    only = frame("wooden-spoon", "change", "The spoon is mine.") | {"renditions": []}
    text = text_of(reply(only, round=last_round(job).id, outlet=None))
    (job.parent / "reply.txt").write_text(f"Dear all,\n\n{text}\n-- \nInes", encoding="utf-8")
    first, second = take(job, given, job.parent / "reply.txt")
    assert (first.again, second.again) == (False, True)


def test_all_faults_of_all_files_at_once_and_nothing_kept(job: Path) -> None:
    sound = answer(job, {"bowl": "approve"})
    cut = job.parent / "cut.json"
    cut.write_bytes(sound.read_bytes()[:-20])
    huge = job.parent / "huge.json"
    with huge.open("wb") as stream:
        stream.truncate(200_000_000)
    unknown = job.parent / "unknown.json"
    unknown.write_bytes(sound.read_bytes().replace(b'"wooden-spoon"', b'"wooden-spoom"'))
    other = answer(job, {}, name="other.json", round="1" * 64, shoot="Salad", frames=[frame()])
    shutil.move(huge, job.parent.parent / "huge.json")  # so that the check of what was written need not read it
    said = refused(job, sound, cut, job.parent.parent / "huge.json", unknown, other, job.parent / "absent.json")
    assert [one.replace(f"{job.parent.parent}/", "").replace(f"{job.parent}/", "") for one in said] == [
        "cut.json: it ends in the middle; ask for it to be sent again",
        (
            "huge.json: it has 200.0 MB, and no reply has more than 2 MB; "
            "name the reply itself: the file that the reviewer saved, or the text that she copied"
        ),
        (
            "unknown.json: round 1 showed no frame 'wooden-spoom'; it showed bowl, wooden-spoon; "
            "did you mean 'wooden-spoon'?"
        ),
        (
            f"other.json: it answers a round that {job.parent / 'out'} does not know, of the shoot 'Salad'; "
            "name the job of that shoot: this is 'Bean soup'"
        ).replace(f"{job.parent}/", ""),
        "absent.json: there is no such file; name a reply that is there",
    ]
    assert not (job.parent / "replies").exists()


def test_a_file_with_thousands_of_faults_is_told_in_a_few_lines(job: Path) -> None:
    many = answer(job, {}, name="many.json", frames=[frame(f"frame-{number}") for number in range(3000)])
    said = refused(job, many)
    assert len(said) == 21
    assert said[-1] == "many.json: 2980 more faults are in it; mend these first"


def test_a_caption_that_was_corrected_meanwhile_changes_nothing(job: Path) -> None:
    given = answer(job, {"bowl": "approve"})
    job.write_text(job.read_text(encoding="utf-8").replace("A bowl of soup", "A bowl of bean soup"), encoding="utf-8")
    run(job)
    (taken,) = take(job, given)
    assert taken.notes == ()


def test_a_reply_to_another_round_is_taken_and_says_what_holds(job: Path) -> None:
    given = answer(job, {"bowl": "approve", "wooden-spoon": "approve"})
    moved = job.read_text(encoding="utf-8").replace("subject = [0.4, 0.6]", "subject = [0.6, 0.4]")
    job.write_text(moved, encoding="utf-8")
    run(job)
    assert last_round(job).number == 2
    (taken,) = take(job, given)
    assert taken.notes == (
        "it answers round 1; it holds for what is unchanged: bowl; changed since: wooden-spoon",
    )  # fmt: skip
    assert taken.answered
    assert taken.answered.number == 1


def test_a_reply_whose_round_went_with_the_folder_is_taken_by_its_pictures(job: Path) -> None:
    given = answer(job, {"bowl": "approve"})
    text = job.parent / "reply.txt"
    text.write_text(text_of(reply(frame("bowl"), round=last_round(job).id, outlet=None)), encoding="utf-8")
    shutil.rmtree(job.parent / "out")
    (taken,) = take(job, given)
    assert taken.answered is None
    assert taken.notes == ()
    assert not (job.parent / "out").exists()
    assert refused(job, text) == [
        (
            f"reply.txt: it answers a round that {job.parent / 'out'} does not know; "
            "name the folder that its contact sheet came from with --out"
        ).replace(f"{job.parent}/", "")
    ]


def test_a_date_that_has_not_come(job: Path) -> None:
    (taken,) = take(job, answer(job, {}, date="2031-01-01"))
    assert taken.notes == (
        "its date, 2031-01-01, has not come yet; by its date it goes before what is answered until then",
    )


def test_an_older_answer_that_comes_late_says_so(job: Path) -> None:
    (later,) = take(job, answer(job, {"bowl": "approve"}))
    (taken,) = take(job, answer(job, {"bowl": "change"}, date="2026-11-20"))
    assert taken.notes == (f"a later answer of Ines Falkenrath, {later.kept.name}, goes before it where both speak",)


@pytest.mark.parametrize(
    ("make", "found"),
    [
        (lambda path: path.symlink_to(path.parent.parent), "this is a link, which may lead anywhere"),
        (lambda path: path.write_text("hers"), "this is no folder, and replies are kept in it"),
    ],
)
def test_what_stands_in_the_place_of_the_folder(job: Path, make: object, found: str) -> None:
    make(job.parent / "replies")  # type: ignore[operator]
    given = answer(job, {"bowl": "approve"})
    with pytest.raises(RequestRefused, match=found):
        take(job, given)
