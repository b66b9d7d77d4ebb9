"""What was found is shown by `plan`, `check` and her own sheet, never to an outlet; and stands for "auto"."""

from __future__ import annotations

import io
import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.cli import main
from pipeline.deliver.export import Asked, export
from pipeline.deliver.inspection.known import known_inspections
from pipeline.deliver.survey import survey
from pipeline.faults import RequestRefused
from pipeline.frames.inspection.values import Inspection
from pipeline.job.read import read_job
from pipeline.ledger.book import FILE
from pipeline.light.box import Point, Region
from pipeline.plan.show import not_inspected
from tests.deliver.inspection.shoot import AUTO, FOUND, LEANS, SEEN, auto_shoot, remember
from tests.small_shoot import FRAME, HEAD, frame, write_job

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

PAIR = """
[[frames]]
file = "bread.jpg"
subject = [0.5, 0.5]
alt = "A loaf"

[[pairs]]
pair = ["bowl", "bread"]
targets = ["feed/two-up"]
"""
LOOK = "run plateline inspect job.toml, or write subject = [across, down]"
SAID = "inspection: The window is burnt out. Draw a thin curtain."


def refusal(job: Path, verb: Callable[[Path], object]) -> list[str]:
    with pytest.raises(RequestRefused) as refused:
        verb(job)
    return [str(fault) for fault in refused.value.faults]


def planned(job: Path) -> object:
    return survey(job).knowing(job.parent / "out").plan({})


def exported(job: Path) -> object:
    return export(Asked(job, job.parent / "out", workers=1, quiet=True), io.StringIO())


@pytest.mark.parametrize("verb", [planned, exported])
def test_a_subject_that_is_still_to_be_found_is_asked_for_with_one_sentence_a_frame(
    tmp_path: Path, verb: Callable[[Path], object]
) -> None:
    text = AUTO + FRAME.replace("bowl", "bread") + AUTO.removeprefix(HEAD).replace("bowl", "spoon")
    job = write_job(tmp_path, text, ("bowl.jpg", "bread.jpg", "spoon.jpg"))
    assert refusal(job, verb) == [
        f"job.toml: frames[1] bowl.jpg: subject: its subject is still to be found; please point: {LOOK}",
        f"job.toml: frames[3] spoon.jpg: subject: its subject is still to be found; please point: {LOOK}",
    ]
    assert not (tmp_path / "out").exists()


def test_a_subject_that_was_looked_for_in_vain(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    remember(job, {"bowl": replace(SEEN, proposal=None)})
    assert refusal(job, planned) == [
        (
            "job.toml: frames[1] bowl.jpg: subject: looked at, and no subject stands out for sure; "
            "please point: write subject = [across, down]"
        )
    ]


def test_what_was_found_stands_for_auto_in_every_crop(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path, AUTO + PAIR)
    frame(tmp_path / "bread.jpg")
    remember(job, {"bowl": SEEN})
    by_auto = survey(job).knowing(tmp_path / "out").plan({})
    keep = f"keep = {[FOUND.keep.left, FOUND.keep.top, FOUND.keep.right, FOUND.keep.bottom]}"
    job.write_text((AUTO + PAIR).replace('"auto"', f"[0.3, 0.7]\n{keep}"), encoding="utf-8")
    by_hand = survey(job).knowing(tmp_path / "other").plan({})
    assert by_auto.frames[0].subject == Point(0.3, 0.7)
    assert by_auto.frames[0].keep == Region(0.2, 0.5, 0.45, 0.9)
    assert len(by_auto.renditions) == 3
    assert by_auto.renditions == by_hand.renditions
    assert by_auto.frames[0].whole == by_hand.frames[0].whole


def test_another_frame_under_the_same_name_is_not_taken_for_the_one_that_was_looked_at(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    remember(job, {"bowl": SEEN})
    frame(tmp_path / "bowl.jpg", (700, 400))
    assert refusal(job, planned)[0].endswith(LOOK)


def test_a_frame_that_cannot_be_read_is_not_asked_after(tmp_path: Path) -> None:
    text = AUTO + FRAME.replace("bowl", "bread")
    job = write_job(tmp_path, text, ("bowl.jpg", "bread.jpg"))
    (tmp_path / "bowl.jpg").write_bytes(b"no picture")
    assert [one.slug for one in survey(job).knowing(tmp_path / "out").plan({}).frames] == ["bread"]


def test_frames_are_not_read_for_a_ledger_that_knows_no_look(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    job = read_job(write_job(tmp_path))
    monkeypatch.setattr("pipeline.ledger.book.file_digest", None)
    assert known_inspections(job, ["bowl"], tmp_path / "out") == {}


def test_plan_and_check_show_what_was_found_and_say_once_what_was_not_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = HEAD + FRAME + FRAME.replace("bowl", "bread") + FRAME.replace("bowl", "spoon")
    frame(tmp_path / "bread.jpg", (600, 410))
    job = write_job(tmp_path, text, ("bowl.jpg", "bread.jpg", "spoon.jpg"))
    remember(job, {"bread": SEEN})
    unseen = f"not inspected yet: bowl, spoon; to look at them: plateline inspect {job}"
    assert main(["plan", str(job)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == unseen
    assert [line for line in lines if "inspect" in line][:-1] == [
        "   note: inspection: ISO 800 shows. Use a tripod.",
        f"   caution: {SAID}",
    ]
    assert main(["check", str(job)]) == 0
    out = capsys.readouterr().out
    assert f"caution: bread: {SAID}\n" in out
    assert f"note: {unseen}\n" in out
    assert main(["check", "--strict", str(job)]) == 1
    capsys.readouterr()
    assert main(["plan", "--json", str(job)]) == 0
    frames = json.loads(capsys.readouterr().out)["frames"]
    assert [one["inspected"] for one in frames] == [False, True, False]
    assert SAID in frames[1]["cautions"]


def test_a_job_that_was_looked_at_whole_is_not_told_to_be(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    remember(job, {"bowl": SEEN})
    assert not_inspected(survey(job).knowing(tmp_path / "out").plan({})) is None


def test_a_tilt_that_the_job_mends_is_no_caution(tmp_path: Path) -> None:
    leans = Inspection((), (LEANS,), FOUND, -1.9)
    for text, told in ((AUTO, True), (AUTO + "turn_deg = -1.8\n", False), (AUTO + "turn_deg = 1.9\n", True)):
        job = auto_shoot(tmp_path, text)
        remember(job, {"bowl": leans})
        cautions = survey(job).knowing(tmp_path / "out").plan({}).frames[0].cautions
        assert ("inspection: The table leans. Turn it." in cautions) is told


def test_her_own_sheet_shows_it_and_no_outlets_sheet_does(tmp_path: Path) -> None:
    text = AUTO.replace('targets = ["blog/step"]', 'targets = ["partner/proof"]')
    job = auto_shoot(tmp_path, text)
    out = remember(job, {"bowl": SEEN})
    assert main(["sheet", "--quiet", "--workers", "1", str(job)]) == 0
    assert main(["sheet", "--quiet", "--workers", "1", "--for", "partner", str(job)]) == 0
    hers = (out / "sheet" / "index.html").read_text(encoding="utf-8")
    assert SAID in hers
    others = [
        path for path in out.rglob("*") if path.suffix in {".html", ".json", ".js"} and "for-partner" in str(path)
    ]
    assert others
    for path in others:
        assert "burnt out" not in path.read_text(encoding="utf-8")
        assert "inspect" not in path.read_text(encoding="utf-8").replace("inspector", "")


def test_what_is_no_ledger_knows_nothing(tmp_path: Path) -> None:
    job = auto_shoot(tmp_path)
    (remember(job, {"bowl": SEEN}) / FILE).write_bytes(b"somebody's notes")
    assert survey(job).knowing(tmp_path / "out").inspected == {}
    assert refusal(job, planned)[0].endswith(LOOK)
