"""The plan as a person reads it and as a program does: both say the same."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import piexif
import pytest
from PIL import Image

from pipeline.deliver.survey import survey
from pipeline.frames.words import Stated
from pipeline.ledger.made import Made
from pipeline.plan.build import build_plan
from pipeline.plan.show import FORMAT, check_lines, plan_json, plan_lines
from tests.small_shoot import FRAME, HEAD, JOB, header_of, plan_of, write_job

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

TEXT = (
    HEAD.replace("Bean soup", "Crème <soup>")
    + FRAME
    + 'keep = [0.0, 0.0, 1.0, 1.0]\ntargets = ["feed/tall", "print/a4"]\n'
    + FRAME.replace("bowl.jpg", "bread.jpg").replace('alt = "A bowl of soup"', "")
    + 'targets = ["print/eight-by-ten", "blog/step"]\n[[frames.crops]]\ntarget = "blog/step"\nanchor = [0.1, 0.1]\n'
)

CUT_OFF = "57% of the keep box is cut off or covered: make the keep box smaller, or give this target one of its own"
NOT_REACHED = "anchor not reached: with the subject there, too much of the picture or the keep box is lost"


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    _, made = plan_of(tmp_path, TEXT, (2400, 1600), (2500, 3500))
    return made


def test_the_json_holds_every_fact_of_the_plan(plan: Plan) -> None:
    document: dict[str, Any] = json.loads(plan_json(plan))
    assert (document["plan"], document["job"], document["title"]) == (FORMAT, "job.toml", "Crème <soup>")
    assert [(frame["frame"], frame["file"], frame["size"], frame["alt"]) for frame in document["frames"]] == [
        ("bowl", "bowl.jpg", [2400, 1600], "A bowl of soup"),
        ("bread", "bread.jpg", [2500, 3500], None),
    ]
    assert [frame["cautions"] for frame in document["frames"]] == [list(frame.cautions) for frame in plan.frames]
    shown = [rendition for frame in document["frames"] for rendition in frame["renditions"]]
    pixels = {frame.slug: frame.header.size.pixels for frame in plan.frames}
    for rendition, told in zip(plan.renditions, shown, strict=True):
        box = rendition.crop.box
        assert told["target"] == f"{rendition.outlet}/{rendition.target}"
        assert told["box"] == [box.left, box.top, box.width, box.height]
        assert told["subject_at"] == pytest.approx([rendition.crop.subject_at.x, rendition.crop.subject_at.y], abs=5e-5)
        assert told["anchor"] == rendition.crop.reached
        assert told["kept"] == pytest.approx(box.size.pixels / pixels[rendition.frame], abs=5e-5)
        assert told["keep_lost"] == pytest.approx(rendition.crop.keep_lost, abs=5e-5)
        assert told["effective_ppi"] == (rendition.effective_ppi and pytest.approx(rendition.effective_ppi, abs=0.05))
        assert (told["refused"], told["cautions"]) == (rendition.refused, list(rendition.cautions))
        assert told["files"] == [
            {"path": one.path, "size": [one.size.width, one.size.height], "format": one.format}
            | {"bytes": None, "quality": None, "fidelity": None}
            for one in rendition.outputs
        ]
    assert [one["target"] for one in shown if one["refused"]] == ["print/a4"]
    assert [one["target"] for one in shown if one["effective_ppi"]] == ["print/a4", "print/eight-by-ten"]


def test_the_lines_say_box_place_share_ppi_and_names(plan: Plan) -> None:
    lines = "\n".join(plan_lines(plan))
    page = next(one for one in plan.renditions if one.target == "eight-by-ten")
    box, at = page.crop.box, page.crop.subject_at
    assert "2. bread  (bread.jpg, 2500 x 3500, jpeg)" in lines
    assert "   caution: no alt text: write one, or say decorative = true (WCAG 1.1.1)" in lines
    assert (
        f"      box {box.width} x {box.height} at {box.left}, {box.top}; {page.crop.kept:.0%} of the frame kept;"
        in lines
    )
    assert f"      subject at {at.x:.0%} across, {at.y:.0%} down, " in lines
    for output in page.outputs:
        assert f"      2400 x 3000  {output.path}" in lines
    assert f"      caution: {CUT_OFF}" in lines
    assert (
        "      refused: too small: this crop gives 134 ppi on paper, and 240 ppi is the least for this target" in lines
    )


def test_a_refused_rendition_shows_no_file(plan: Plan) -> None:
    lines = list(plan_lines(plan))
    at = lines.index("   print/a4")
    assert lines[at + 1].startswith("      refused: ")
    assert lines[at + 2] == ""


@pytest.mark.parametrize(
    ("anchor", "words"),
    [
        ('"thirds"', "subject at 33% across, 33% down, on a crossing of the thirds"),
        ('"centre"', "subject at 50% across, 50% down, on its anchor"),
        ("[0.25, 0.75]", "subject at 25% across, 75% down, on its anchor"),
    ],
)
def test_where_the_subject_lands(tmp_path: Path, anchor: str, words: str) -> None:
    text = HEAD + FRAME.replace("[0.5, 0.5]", "[0.45, 0.45]")
    text += f'[[frames.crops]]\ntarget = "blog/step"\nanchor = {anchor}\n[targets."blog/step"]\nreach = 0.6\n'
    _, plan = plan_of(tmp_path, text, (6000, 4000))
    assert f"      {words}" in list(plan_lines(plan))


def test_a_line_of_the_thirds_and_an_anchor_not_reached(tmp_path: Path) -> None:
    text = HEAD + FRAME.replace("[0.5, 0.5]", "[0.5, 0.333333]") + 'targets = ["blog/step"]\n'
    _, plan = plan_of(tmp_path, text, (6000, 4000))
    assert "      subject at 50% across, 33% down, on a line of the thirds" in list(plan_lines(plan))
    _, plan = plan_of(tmp_path, HEAD + FRAME, (6000, 4000))
    assert "      subject at 50% across, 50% down, anchor not reached" in list(plan_lines(plan))


def test_a_check_tells_a_shared_caution_once_and_refusals_with_their_names(plan: Plan) -> None:
    assert check_lines(plan) == [
        "caution: bread: no alt text: write one, or say decorative = true (WCAG 1.1.1)",
        f"caution: bowl/feed/tall: {CUT_OFF}",
        (
            "refused: bowl/print/a4: "
            "too small: this crop gives 134 ppi on paper, and 240 ppi is the least for this target"
        ),
        "caution: bread/blog/step: " + NOT_REACHED,
    ]


def test_a_caution_of_two_frames_stands_once(tmp_path: Path) -> None:
    silent = FRAME.replace('alt = "A bowl of soup"', "")
    _, plan = plan_of(tmp_path, HEAD + silent + silent.replace("bowl", "bread"), (6000, 4000), (6000, 4000))
    assert check_lines(plan) == ["caution: bowl, bread: no alt text: write one, or say decorative = true (WCAG 1.1.1)"]


def test_the_origin_of_words_is_shown_in_a_line_and_in_the_json(tmp_path: Path) -> None:
    job, _ = plan_of(tmp_path, HEAD + FRAME, (600, 400))
    (asked,) = job.frames
    stated = Stated(
        alt="Another", description="Hot soup.", origins=(("alt", "XMP"), ("description", "IIM")),
        conflicts=(("description", "caption: IIM says 'Hot soup.', XMP says 'Cold'; IIM was taken"),),
    )  # fmt: skip
    header = replace(header_of(asked.path, (600, 400)), stated=stated)
    plan = build_plan(job, {asked.slug: header}, {})
    lines = [line.strip() for line in plan_lines(plan)]
    note = "not used, because the job says otherwise: the frame's own alt 'Another'"
    assert lines[1] == "words: title, alt from the job; caption from the IIM of the frame"
    assert lines[2] == f"note: {note}"
    assert "caution: caption: IIM says 'Hot soup.', XMP says 'Cold'; IIM was taken" in lines
    (told,) = json.loads(plan_json(plan))["frames"]
    assert told["origins"] == {"title": "job", "alt": "job", "description": "IIM of the frame"}
    assert told["notes"] == [note]
    assert not any("not used" in line for line in check_lines(plan)), "a note is nothing to act on"


def test_what_an_earlier_run_measured_is_told_beside_the_file(tmp_path: Path) -> None:
    limits = '\n[targets."blog/step"]\nbytes_max = "60 kB"\nfidelity = 85\nwidths = [480]\nformats = ["jpeg"]\n'
    _, plan = plan_of(tmp_path, HEAD + limits + FRAME, (900, 600))
    path = plan.renditions[0].outputs[0].path
    assert f"      480 x 320  {path}  not measured yet" in list(plan_lines(plan))
    made = {path: Made(path, "i", "p", "m", "s", 41_260, 1, 0.0, quality=83, fidelity=85.12)}
    assert f"      480 x 320  {path}  41.3 kB, quality 83, fidelity 85.12" in list(plan_lines(plan, made))
    (frame,) = json.loads(plan_json(plan, made))["frames"]
    (file,) = frame["renditions"][0]["files"]
    assert (file["bytes"], file["quality"], file["fidelity"]) == (41_260, 83, 85.12)


def test_a_given_quality_has_nothing_to_be_measured(tmp_path: Path) -> None:
    _, plan = plan_of(tmp_path, HEAD + FRAME, (900, 600))
    assert not any("not measured yet" in line for line in plan_lines(plan))


def test_words_that_a_frame_carries_act_on_no_terminal(tmp_path: Path) -> None:
    """A letter that turns the rest of a line round (Unicode Standard Annex 9, 2.2: directional overrides)."""
    exif = piexif.dump({"0th": {piexif.ImageIFD.ImageDescription: "Soup \u202espoons\u2066".encode()}})
    Image.new("RGB", (600, 400), "tan").save(tmp_path / "bowl.jpg", exif=exif)
    plan = survey(write_job(tmp_path, JOB + 'caption = "A soup"\n')).plan({})
    assert any("\u202e" in note for note in plan.frames[0].notes)
    lines = [*plan_lines(plan), *check_lines(plan)]
    assert any(r"Soup \u202espoons\u2066" in line for line in lines)
    assert all(line.isprintable() for line in lines)
