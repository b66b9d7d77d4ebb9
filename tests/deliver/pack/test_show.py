"""The lines of `pack` and of `verify --delivery`, through the command."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pytest

import pipeline.cli
from pipeline.cli import main
from tests.deliver.pack.conftest import NOW
from tests.deliver.pack.shoot import PROOF

if TYPE_CHECKING:
    from pathlib import Path

ZIP = "bean-soup-partner-round1.zip"


@pytest.fixture(autouse=True)
def this_day(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.cli, "_now", lambda: NOW)


def run(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str, str]:
    capsys.readouterr()
    code = main([str(word) for word in words])
    told = capsys.readouterr()
    return code, told.out, told.err


def test_a_pack_says_what_it_holds_and_what_was_recorded(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err = run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans")
    data = (shoot / ZIP).read_bytes()
    first, second, third = out.splitlines()
    assert (code, err) == (0, "")
    assert first == f"{shoot / ZIP}: 3 pictures in 5 files, the contact sheet of round 1, {len(data):,} bytes"
    assert second.startswith("its SHA-256: ")
    assert third.startswith("recorded as delivery 1, to Tidewater Beans; the digest of that row: ")
    again = run(capsys, "pack", shoot / "out", "--outlet", "partner")[1]
    assert again.splitlines()[0] == f"{first} (it was there already, with the same content)"
    assert len(again.splitlines()) == 2
    assert run(capsys, "pack", shoot / "out", "--outlet", "partner", "--quiet") == (0, "", "")


def test_what_was_passed_over_is_said_first(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (shoot / "out" / PROOF).unlink()
    words = ("pack", shoot / "out", "--outlet", "partner")
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert err == f"{PROOF}: it is missing; export again\n1 fault; nothing was written\n"
    code, out, _ = run(capsys, *words, "--anyway")
    assert code == 0
    assert out.startswith(f"packed although: {PROOF}: it is missing\n")


def test_a_torn_row_of_an_earlier_run_is_told(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (shoot / "deliveries.jsonl").write_bytes(b'{"plateline_delivery": 1, "deli')
    _, out, _ = run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans")
    assert out.startswith(
        "note: the record: line 1 is no whole row: a run was stopped while it wrote it, or it was changed\n"
    )
    assert (
        (shoot / "deliveries.jsonl")
        .read_bytes()
        .startswith(b'{"plateline_delivery": 1, "deli\n{"plateline_delivery": 1, ')
    )


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["pack", "out"], "the following arguments are required: --outlet"),
        (["pack", "out", "--outlet", "partner", "--to", " "], "found ' '; a name of 1 to 200 letters is needed"),
        (["pack", "out", "--outlet", "partner", "--to", ""], "found nothing; a name of 1 to 200 letters is needed"),
        (["pack", "out", "--outlet", "partner", "--to", "a\nb"], "a name of 1 to 200 letters is needed"),
        (["pack", "out", "--outlet", "partner", "--to", "\udc80"], "a name of 1 to 200 letters is needed"),
        (["pack", "out", "--outlet", "partner", "--to", "x" * 201], "a name of 1 to 200 letters is needed"),
        (["verify", "out", "--delivery", "0"], "found '0'; the number of a delivery is needed: 1, 2, ..."),
        (["verify", "out", "--delivery", "²"], "found '²'; the number of a delivery is needed: 1, 2, ..."),
    ],
)
def test_a_command_line_that_makes_no_sense(capsys: pytest.CaptureFixture[str], words: list[str], said: str) -> None:
    with pytest.raises(SystemExit, match="2"):
        main(words)
    assert said in capsys.readouterr().err


def test_a_delivery_is_told_whole(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans", "--only", "*/proof")
    code, out, err = run(capsys, "verify", shoot / "out", "--delivery", 1)
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert "digest of its row: " in lines.pop(2)
    assert lines == [
        "the record: every row is as it was written, and follows on the one before it",
        "delivery 1: 25 November 2026, to Tidewater Beans: Roasted tomato and white bean soup, for partner, round 1",
        (
            "  bowl/partner/proof: https://larder-and-light.example/licence; "
            "Proof for review only. All rights reserved; no licence is given with this file."
        ),
        f"{shoot / ZIP}: as sent",
        f"  {PROOF}: as sent",
        "the zip is as sent; 1 of 1 file in the folder as sent",
    ]
    assert run(capsys, "verify", shoot / "out", "--delivery", 1, "--quiet") == (0, "", "")


def test_what_is_no_longer_as_sent(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans", "--only", "*/proof")
    (shoot / ZIP).unlink()
    (shoot / "out" / PROOF).write_bytes(b"another")
    code, out, _ = run(capsys, "verify", shoot / "out", "--delivery", 1)
    assert code == 1
    assert out.splitlines()[-3:] == [
        f"{ZIP}: missing",
        f"  {PROOF}: changed since",
        "the zip is missing; 0 of 1 file in the folder as sent",
    ]
    quiet = run(capsys, "verify", shoot / "out", "--delivery", 1, "--quiet")
    assert quiet == (1, "delivery 1: the zip is missing; 0 of 1 file in the folder as sent\n", "")


def test_for_programs(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans", "--only", "*/proof")
    code, out, _ = run(capsys, "verify", shoot / ZIP, "--delivery", 1, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["proven"] is True
    assert document["record"] == {"whole": True, "troubles": []}
    assert document["delivery"]["to"] == "Tidewater Beans"
    assert document["zip"] == {"file": str(shoot / ZIP), "state": "as sent"}
    assert document["files"] == [{"path": PROOF, "state": "as sent"}]
    assert document["files_in_zip"] is True


def test_words_of_a_stranger_act_on_no_terminal(shoot: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pack", shoot / "out", "--outlet", "partner", "--to", "Tidewater Beans", "--only", "*/proof")
    record = shoot / "deliveries.jsonl"
    record.write_bytes(record.read_bytes().replace(b"Tidewater Beans", rb"\u001b[31m\u202e\nforged: yes"))
    code, out, _ = run(capsys, "verify", shoot / "out", "--delivery", 1)
    assert code == 1
    assert "\x1b" not in out
    assert "\u202e" not in out
    assert "\nforged" not in out
    assert out.startswith("the record: line 1, delivery 1, was changed after it was written\n")
