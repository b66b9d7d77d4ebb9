"""Levelled frames in the plan: what is asked of the upright frame, found in the turned one."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

import pytest

from pipeline.faults import RequestRefused
from pipeline.light.box import Box, Region, Size
from pipeline.light.turn import Turn
from pipeline.plan.level import in_words
from pipeline.plan.show import plan_json, plan_lines
from tests.small_shoot import FRAME, HEAD, plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan

SIZE = (6000, 4000)
# By the closed form for the largest upright rectangle in a turned one, worked out by hand for 0.8 degrees:
# (6000 cos - 4000 sin) / cos 2a = 5945.90, (4000 cos - 6000 sin) / cos 2a = 3917.37.
TURNED = Size(5945, 3917)


def levelled(folder: Path, more: str = "turn_deg = -0.8\n", target: str = "feed/square", frame: str = FRAME) -> Plan:
    _, plan = plan_of(folder, HEAD + frame + more + f'targets = ["{target}"]\n', SIZE)
    return plan


def test_the_turned_frame_is_what_crops_are_cut_from(tmp_path: Path) -> None:
    (frame,) = levelled(tmp_path).frames
    (square,) = frame.renditions
    assert (math.floor(5945.90), math.floor(3917.37)) == (TURNED.width, TURNED.height)
    assert frame.whole.crop.box == Box(0, 0, TURNED.width, TURNED.height)
    assert frame.whole.crop.turn_deg == square.crop.turn_deg == -0.8
    assert square.crop.box.height <= TURNED.height
    assert square.crop.box.right <= TURNED.width
    assert square.crop.kept == pytest.approx(square.crop.box.size.pixels / TURNED.pixels)
    assert frame.whole.preview
    assert frame.whole.preview.size.height == round(1600 * TURNED.height / TURNED.width)


def test_without_a_turn_nothing_is_another(tmp_path: Path) -> None:
    with_nothing, without = levelled(tmp_path, "turn_deg = 0\n"), levelled(tmp_path, "")
    assert with_nothing == without
    assert without.frames[0].whole.crop.box == Box(0, 0, *SIZE)


def test_subject_and_keep_are_those_of_the_upright_frame(tmp_path: Path) -> None:
    frame_words = FRAME.replace("[0.5, 0.5]", "[0.7, 0.4]\nkeep = [0.6, 0.3, 0.8, 0.5]")
    (frame,) = levelled(tmp_path, frame=frame_words).frames
    # By hand: the subject is (1200, -400) pixels from the centre; turned anticlockwise by 0.8 degrees it is at
    # (1200 cos - 400 sin, -400 cos - 1200 sin), y downwards.
    turn = math.radians(0.8)
    x = 1200 * math.cos(turn) - 400 * math.sin(turn)
    y = -400 * math.cos(turn) - 1200 * math.sin(turn)
    assert frame.subject.x == pytest.approx(0.5 + x / TURNED.width, abs=1e-5)
    assert frame.subject.y == pytest.approx(0.5 + y / TURNED.height, abs=1e-5)
    (square,) = frame.renditions
    box, there = square.crop.box, square.crop.subject_at
    assert box.left + there.x * box.width == pytest.approx(frame.subject.x * TURNED.width, abs=0.01)
    assert frame.keep
    assert frame.keep.left < frame.subject.x < frame.keep.right
    # The upright box around the turned one: larger than it was, by its sides times the sine.
    width = (frame.keep.right - frame.keep.left) * TURNED.width
    assert width == pytest.approx(1200 * math.cos(turn) + 800 * math.sin(turn), abs=0.02)


def test_what_the_turn_cuts_off_is_said(tmp_path: Path) -> None:
    frame_words = FRAME.replace("[0.5, 0.5]", "[0.001, 0.999]\nkeep = [0.0, 0.5, 0.5, 1.0]")
    plan = levelled(tmp_path, frame=frame_words)
    (frame,) = plan.frames
    turn = Turn(Size(*SIZE), -0.8)
    lost = turn.lost(Region(0.0, 0.5, 0.5, 1.0))
    # By hand: about 41 + 42 px along the lower edge of 3000 and 27 px along the left one, at their widest.
    assert 0.01 < lost < 0.05
    assert "turned 0.8° anticlockwise, the frame no longer holds its subject" in frame.cautions
    assert f"turned 0.8° anticlockwise, the frame no longer holds {lost:.0%} of its keep box" in frame.cautions
    assert frame.subject.y == 1.0  # at the edge that it has gone beyond
    (square,) = frame.renditions
    assert square.crop.keep_lost >= lost
    assert any("of the keep box is cut off" in caution for caution in square.cautions)


def test_a_target_that_refuses_a_loss_refuses_that_of_the_turn(tmp_path: Path) -> None:
    frame_words = FRAME.replace("subject", "keep = [0.0, 0.0, 0.5, 0.5]\nsubject")
    head = HEAD + '[targets."feed/square"]\nkeep_miss = "refuse"\n'
    plans = [
        plan_of(tmp_path, head + frame_words + more + 'targets = ["feed/square"]\n', SIZE)[1]
        for more in ("", "turn_deg = 1.5\n")
    ]
    straight, turned = (plan.renditions[0].refused for plan in plans)
    assert straight is None
    assert turned is not None
    assert "of it would be lost" in turned


def test_a_keep_box_that_is_gone_is_all_lost(tmp_path: Path) -> None:
    frame_words = FRAME.replace("subject", "keep = [0.0, 0.0, 0.05, 0.05]\nsubject")
    (frame,) = levelled(tmp_path, "turn_deg = 45\n", frame=frame_words).frames
    assert frame.keep is None
    assert frame.renditions[0].crop.keep_lost == 1


def test_the_plan_says_the_turn_in_words_and_in_json(tmp_path: Path) -> None:
    plan = levelled(tmp_path)
    assert "   turned 0.8° anticlockwise: 5945 x 3917 of it, without empty corners" in list(plan_lines(plan))
    (told,) = json.loads(plan_json(plan))["frames"]
    assert (told["size"], told["turn_deg"], told["turned_size"]) == ([6000, 4000], -0.8, [5945, 3917])
    (straight,) = json.loads(plan_json(levelled(tmp_path, "")))["frames"]
    assert (straight["turn_deg"], straight["turned_size"]) == (0, [6000, 4000])


@pytest.mark.parametrize(("degrees", "words"), [(2.0, "turned 2° clockwise"), (-0.25, "turned 0.25° anticlockwise")])
def test_a_turn_in_words(degrees: float, words: str) -> None:
    assert words == in_words(degrees)


@pytest.mark.parametrize("degrees", ["46", "-90", "nan", '"left"'])
def test_a_turn_is_between_half_a_right_angle_either_way(tmp_path: Path, degrees: str) -> None:
    with pytest.raises(RequestRefused, match="turn_deg"):
        levelled(tmp_path, f"turn_deg = {degrees}\n")
