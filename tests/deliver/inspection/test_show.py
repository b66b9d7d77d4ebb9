"""What `inspect` says: a frame at a time, faults first, each with its number, what to do, and its source."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from pipeline.deliver.inspection.run import Alike, Report
from pipeline.deliver.inspection.show import number, report_json, report_lines
from pipeline.faults import Fault
from pipeline.frames.inspection.likeness import Likeness
from pipeline.frames.inspection.sameness import Pair
from pipeline.frames.inspection.values import Inspection
from pipeline.job.read import read_job
from pipeline.job.write_back import Found
from pipeline.light.box import Point, Region
from pipeline.light.thresholds import house_thresholds
from tests.deliver.inspection.shoot import AUTO, FOUND, LEANS, NOTE, SEEN
from tests.small_shoot import FRAME, HEAD, write_job

if TYPE_CHECKING:
    from pathlib import Path

NOTHING = Inspection((), (), None, None)


def report(folder: Path, text: str, *seen: Inspection) -> Report:
    """Return a report of frames of which this was found."""
    job = read_job(write_job(folder, text, ("bowl.jpg", "bread.jpg")))
    return Report(job, tuple(zip(job.frames, seen, strict=True)), ())


def lines(folder: Path, text: str, *seen: Inspection, quiet: bool = False) -> list[str]:
    return list(report_lines(report(folder, text, *seen), quiet=quiet))


def test_faults_come_first_each_with_what_to_do_and_what_it_rests_on(tmp_path: Path) -> None:
    assert lines(tmp_path, AUTO, SEEN) == [
        "1. bowl  (bowl.jpg)",
        "   fault: The window is burnt out.",
        "      Draw a thin curtain.",
        "      12.5 % of the pixels, threshold 2 % (house choice)",
        "   note: ISO 800 shows.",
        "      Use a tripod.",
        "      common practice, no source",
        "   subject: found at 30% across, 70% down; keep = [0.2, 0.5, 0.45, 0.9]; confidence 0.81",
        "",
        "1 of 1 frames looked at, 1 fault, 1 note",
    ]


def test_a_frame_without_a_fault_is_said_to_have_none(tmp_path: Path) -> None:
    notes_alone = replace(NOTHING, findings=(NOTE,))
    text = HEAD + FRAME + FRAME.replace("bowl", "bread")
    told = lines(tmp_path, text, NOTHING, notes_alone)
    assert [line for line in told if "fault" in line] == [
        "   no fault found", "   no fault found", "2 of 2 frames looked at, 0 faults, 1 note",
    ]  # fmt: skip
    assert told[2] == "   subject: none stands out for sure; yours counts"


def test_quiet_says_what_is_wrong_alone(tmp_path: Path) -> None:
    text = HEAD + FRAME + FRAME.replace("bowl", "bread")
    assert lines(tmp_path, text, replace(SEEN, findings=(NOTE,)), SEEN, quiet=True) == [
        "2. bread  (bread.jpg)",
        "   fault: The window is burnt out.",
        "      Draw a thin curtain.",
        "      12.5 % of the pixels, threshold 2 % (house choice)",
        "",
    ]


def test_where_nothing_is_sure_she_is_asked_to_point(tmp_path: Path) -> None:
    assert "   subject: please point: none stands out for sure; write subject = [across, down]" in lines(
        tmp_path, AUTO, NOTHING
    )


@pytest.mark.parametrize(("subject", "told"), [("[0.31, 0.69]", False), ("[0.5, 0.5]", True)])
def test_a_subject_far_from_the_one_that_was_found_is_told(tmp_path: Path, subject: str, *, told: bool) -> None:
    [line] = [one for one in lines(tmp_path, AUTO.replace('"auto"', subject), SEEN) if "subject" in one]
    assert line.endswith("; the job says 50% across, 50% down") is told


def test_a_turn_is_proposed_until_the_job_has_it(tmp_path: Path) -> None:
    leans = replace(SEEN, findings=(LEANS,), turn_deg=-1.9)
    told = lines(tmp_path, AUTO, leans)
    assert "   fault: The table leans." in told
    assert "   turn: turn_deg = -1.9 would level it" in told
    told = lines(tmp_path, AUTO + "turn_deg = -1.9\n", leans)
    assert "   no fault found" in told
    assert not any("turn" in line for line in told)
    told = lines(tmp_path, AUTO + "turn_deg = 1.9\n", leans)
    assert "   fault: The table leans." in told, "a turn the wrong way mends nothing"


def test_frames_of_one_view_are_told_side_by_side_and_none_is_called_better(tmp_path: Path) -> None:
    whole = report(tmp_path, AUTO, SEEN)
    same = Pair(3, 0.98, view=True, same=True, sharper=1, brighter_ev=0.5, words=("less sharp", "brighter by 0.5 EV"))
    other = Pair(20, 0.8, view=True, moved=Region(0.1, 0.2, 0.3, 0.4))
    whole = replace(whole, alike=(Alike("bowl", "bread", same), Alike("bowl", "spoon", other)))
    assert list(report_lines(whole))[-3:-1] == [
        "nearly the same: bowl and bread: the second: less sharp; brighter by 0.5 EV",
        "one view: bowl and spoon: no difference to tell",
    ]
    assert json.loads(report_json(whole))["alike"] == [
        {
            "frames": ["bowl", "bread"], "apart_bits": 3, "likeness": 0.98, "view": True, "same": True, "sharper": 1,
            "brighter_ev": 0.5, "words": ["less sharp", "brighter by 0.5 EV"], "moved": None,
        },
        {
            "frames": ["bowl", "spoon"], "apart_bits": 20, "likeness": 0.8, "view": True, "same": False, "sharper": 0,
            "brighter_ev": 0.0, "words": [], "moved": [0.1, 0.2, 0.3, 0.4],
        },
    ]  # fmt: skip


def test_what_was_accepted_is_said(tmp_path: Path) -> None:
    whole = replace(report(tmp_path, AUTO, SEEN), accepted={1: Found(Point(0.3, 0.7), FOUND.keep, -0.8)})
    assert "written into job.toml: bowl: subject = [0.3, 0.7], keep = [0.2, 0.5, 0.45, 0.9], turn_deg = -0.8" in list(
        report_lines(whole)
    )
    assert json.loads(report_json(whole))["accepted"] == {
        "bowl": {"subject": [0.3, 0.7], "keep": [0.2, 0.5, 0.45, 0.9], "turn_deg": -0.8}
    }


def test_json_holds_the_same_and_every_measure(tmp_path: Path) -> None:
    alike = Likeness("00ff", 2, 2, b"\0\1\2\3", (None,) * 10)
    whole = report(tmp_path, AUTO, replace(SEEN, likeness=alike, turn_deg=1.5))
    document = json.loads(report_json(replace(whole, faults=(Fault("bread.jpg", "is damaged", "copy it again"),))))
    assert document["frames"] == [
        {
            "frame": "bowl",
            "file": "bowl.jpg",
            "findings": [
                {
                    "rule": "grain", "level": "note", "number": None, "unit": "", "threshold": None,
                    "says": "ISO 800 shows.", "advice": "Use a tripod.", "source": "common practice, no source",
                    "where": None,
                },
                {
                    "rule": "window", "level": "fault", "number": 0.125, "unit": "of the pixels", "threshold": 0.02,
                    "says": "The window is burnt out.", "advice": "Draw a thin curtain.", "source": "house choice",
                    "where": None,
                },
            ],
            "subject": {"point": [0.3, 0.7], "keep": [0.2, 0.5, 0.45, 0.9], "confidence": 0.81},
            "turn_deg": 1.5,
            "fingerprint": "00ff",
            "measures": {"clipped_share": 0.125},
        }
    ]  # fmt: skip
    assert document["unreadable"] == ["bread.jpg: is damaged; copy it again"]
    assert document["thresholds"] == {name: one.value for name, one in house_thresholds().items()}


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        (0.02, "of the frame", "2 %"), (0.1254, "of the keep box", "12.5 %"), (37.6, "px", "37.6"),
        (1600.0, "ISO", "1,600"), (0.0333333, "s", "0.0333"), (-2.0, "stops", "-2"),
    ],
)  # fmt: skip
def test_numbers_have_three_digits_that_count(value: float, unit: str, words: str) -> None:
    assert words == number(value, unit)
