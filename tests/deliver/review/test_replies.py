"""The folder in which replies are kept."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.review.replies import (
    Kept,
    keep_reply,
    newest_first,
    of_this_shoot,
    read_replies,
    reviewer_id,
    reviewer_slug,
    same_reply,
)
from pipeline.deliver.review.reply_file import Reply
from pipeline.faults import RequestRefused
from pipeline.ledger.rounds import Round
from tests.deliver.review.answers import PROOF_KEY, ROUND, frame, json_of, rendition, reply

if TYPE_CHECKING:
    from pathlib import Path

HOSTILE = [
    "../../etc/passwd",
    "/etc/passwd",
    "..",
    "con\0nul",
    "<script>",
    "\u202eabc",
    "x" * 200,
    "a/b\\c:d*e?",
    "  ",
    "日本",
    "-",
    ".hidden",
    "\x1b[31m",
]


def answer(**changed: object) -> Reply:
    return Reply.model_validate_json(json.dumps(reply(**changed)))


def test_a_reply_is_kept_under_its_round_reviewer_and_date(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    assert read_replies(job) == ()
    kept = keep_reply(job, answer(reviewer="Ínes Falkenrath"))
    assert kept.name == "0123456789ab-ines-falkenrath-2026-11-25.json"
    assert [kept.name] == [path.name for path in (tmp_path / "replies").iterdir()]
    assert read_replies(job) == (kept,)


def test_a_name_that_is_taken_is_never_written_over(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    first = keep_reply(job, answer())
    second = keep_reply(job, answer(frames=[frame("bowl", "change")]))
    third = keep_reply(job, answer(frames=[frame("bowl", "approve")]))
    expected = ["", "-2", "-3"]
    assert [f"0123456789ab-ines-falkenrath-2026-11-25{end}.json" for end in expected] == [
        one.name for one in (first, second, third)
    ]
    assert read_replies(job) == (second, third, first)
    assert newest_first(read_replies(job), ()) == (third, second, first)


def test_a_link_in_its_place_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "replies").mkdir()
    (tmp_path / "replies" / "0123456789ab-ines-falkenrath-2026-11-25.json").symlink_to(tmp_path / "elsewhere")
    kept = keep_reply(tmp_path / "job.toml", answer())
    assert kept.name == "0123456789ab-ines-falkenrath-2026-11-25-2.json"
    assert not (tmp_path / "elsewhere").exists()


@pytest.mark.parametrize("name", [name for name in HOSTILE if name.strip()])
def test_a_name_leads_nowhere_else(tmp_path: Path, name: str) -> None:
    job = tmp_path / "deep" / "job.toml"
    job.parent.mkdir()
    kept = keep_reply(job, answer(reviewer=name))
    written = [path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()]
    assert [f"deep/replies/{kept.name}"] == written
    assert kept.name.isascii()
    assert len(kept.name) < 100
    assert [one.reply.reviewer for one in read_replies(job)] == [name]


@given(st.text(max_size=200))
def test_every_name_gives_a_plain_part_of_a_file_name(name: str) -> None:
    slug = reviewer_slug(name.encode("utf-8", "replace").decode())
    assert slug.strip("abcdefghijklmnopqrstuvwxyz0123456789-") == ""
    assert 0 < len(slug) <= 40
    assert slug.strip("-") == slug


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("Ines Falkenrath", "ines  falkenrath ", True),
        ("Ines Falkenrath", "Ines\u00a0Falkenrath", True),
        ("e\u0301lise", "\u00e9lise", True),
        ("Ines", "Inés", False),
        ("Ines", "Bo", False),
    ],
)
def test_two_spellings_of_one_reviewer(one: str, other: str, same: bool) -> None:  # noqa: FBT001 (a column of the table)
    assert same == (reviewer_id(one) == reviewer_id(other))


def test_other_files_in_the_folder_are_left_alone(tmp_path: Path) -> None:
    (tmp_path / "replies").mkdir()
    for name in (".DS_Store", "notes.txt", "reply.json", ".unfinished-1-a.json", "x-ines-2026-11-25.json"):
        (tmp_path / "replies" / name).write_text("hers", encoding="utf-8")
    assert read_replies(tmp_path / "job.toml") == ()


@pytest.mark.parametrize("data", [b"", b"{", b"\xff", json_of(reply(plateline_reply=7)), b"x" * 2_000_001])
def test_a_kept_reply_that_was_spoiled_stops_what_would_rely_on_it(tmp_path: Path, data: bytes) -> None:
    kept = keep_reply(tmp_path / "job.toml", answer())
    (tmp_path / "replies" / kept.name).write_bytes(data)
    with pytest.raises(RequestRefused, match=f"^replies/{kept.name}: "):
        read_replies(tmp_path / "job.toml")


def test_a_file_in_place_of_the_folder_holds_no_reply(tmp_path: Path) -> None:
    (tmp_path / "replies").write_text("hers", encoding="utf-8")
    assert read_replies(tmp_path / "job.toml") == ()


def test_what_a_killed_run_left_there_is_swept(tmp_path: Path) -> None:
    (tmp_path / "replies").mkdir()
    (tmp_path / "replies" / ".unfinished-1-a.json").write_text("{", encoding="utf-8")
    kept = keep_reply(tmp_path / "job.toml", answer())
    assert [path.name for path in (tmp_path / "replies").iterdir()] == [kept.name]


def test_the_same_reply_is_known_again(tmp_path: Path) -> None:
    kept = keep_reply(tmp_path / "job.toml", answer())
    assert same_reply(answer(), (kept,)) == kept
    assert same_reply(answer(date="2026-11-26"), (kept,)) is None


def test_later_goes_before_earlier() -> None:
    rounds = (Round("1" * 64, "partner", 1, ()), Round("2" * 64, "partner", 2, ()))
    dates = Kept(answer(date="2026-11-26"), "a")
    second_round = Kept(answer(round="2" * 64), "b")
    first_again = Kept(answer(round="1" * 64), "c", 2)
    first = Kept(answer(round="1" * 64), "d")
    unknown = Kept(answer(round="3" * 64), "e", 9)
    expected = (dates, second_round, first_again, first, unknown)
    assert expected == newest_first((unknown, first, dates, first_again, second_round), rounds)


def test_replies_to_other_shoots_in_the_same_folder_are_told_apart() -> None:
    by_round = Kept(answer(shoot="Renamed", frames=[frame("x", None, "", (), rendition(key=None))]), "a")
    by_title = Kept(answer(round="2" * 64), "b")
    by_picture = Kept(answer(round="2" * 64, shoot="Renamed"), "c")
    other = Kept(answer(round="2" * 64, shoot="Salad", frames=[frame("x", None, "", (), rendition(key="d" * 32))]), "d")
    rounds = (Round(ROUND, "partner", 1, ()),)
    found = of_this_shoot(
        (by_round, by_title, by_picture, other), "Bean soup", {"bowl/partner/proof": PROOF_KEY}, rounds
    )
    assert [by_round, by_title, by_picture] == found
