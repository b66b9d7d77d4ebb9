"""Two frames in one picture, as the job asks for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from pipeline.job.read import read_job
from pipeline.light.box import Point
from tests.small_shoot import HEAD, faults_of, write_job

if TYPE_CHECKING:
    from pathlib import Path

FRAMES = ("bowl.jpg", "spoon.jpg")
TWO = "".join(f'\n[[frames]]\nfile = "{name}"\nsubject = [0.5, 0.5]\nalt = "{name}, seen"\n' for name in FRAMES)
PAIR = '\n[[pairs]]\npair = ["bowl", "spoon"]\ntargets = ["feed/two-up"]\n'


def test_a_pair_asks_its_target_of_both_frames_in_order(tmp_path: Path) -> None:
    (pair,) = read_job(write_job(tmp_path, HEAD + TWO + PAIR, FRAMES)).pairs
    assert (pair.slug, pair.first.slug, pair.second.slug) == ("bowl-and-spoon", "bowl", "spoon")
    assert [(first.name, second.name) for first, second in pair.requests] == [("two-up", "two-up")]


def test_each_frame_keeps_its_own_hand_at_the_target(tmp_path: Path) -> None:
    hand = '[[frames.crops]]\ntarget = "feed/two-up"\nsubject = [0.1, 0.2]\n'
    ((first, second),) = read_job(write_job(tmp_path, HEAD + TWO + hand + PAIR, FRAMES)).pairs[0].requests
    assert (first.subject, second.subject) == (Point(0.5, 0.5), Point(0.1, 0.2))


def test_a_frame_alone_gets_no_target_of_two_by_a_pattern(tmp_path: Path) -> None:
    job = read_job(write_job(tmp_path, HEAD + TWO.replace('seen"\n', 'seen"\ntargets = ["feed/*"]\n'), FRAMES))
    assert "two-up" not in {request.name for asked in job.frames for request in asked.requests}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            PAIR.replace('"spoon"', '"spoo"'),
            "pairs[1]: pair: no frame has the slug 'spoo'; the frames are bowl, spoon; did you mean 'spoon'?",
        ),
        (PAIR.replace('"spoon"', '"bowl"'), "pairs[1]: pair: 'bowl' stands there twice; name two frames"),
        (
            PAIR.replace("two-up", "square"),
            "pairs[1]: targets: 'feed/square' takes one frame; a pair goes to feed/two-up, feed/two-up-tall",
        ),
        (
            PAIR.replace("two-up", "two"),
            (
                "pairs[1]: targets: no target is called 'feed/two'; known are feed/two-up, feed/two-up-tall; "
                "did you mean 'feed/two-up'?"
            ),
        ),
        (
            PAIR + 'slug = "bowl"\n',
            (
                "pairs[1]: slug: its files would be named 'bowl', as those of frames[1] bowl.jpg are; "
                "give the pair a slug of its own"
            ),
        ),
        (
            PAIR + PAIR,
            (
                "pairs[2]: slug: its files would be named 'bowl-and-spoon', as those of pairs[1] are; "
                "give the pair a slug of its own"
            ),
        ),
        (PAIR + "gap = 3\n", "pairs[1]: gap: 'gap' is no key of this table; its keys are pair, targets, "),
    ],
)
def test_what_is_wrong_with_a_pair(tmp_path: Path, text: str, said: str) -> None:
    (fault,) = faults_of(write_job(tmp_path, HEAD + TWO + text, FRAMES))
    assert fault.startswith(f"job.toml: {said}")


def test_a_frame_that_asks_for_a_target_of_two(tmp_path: Path) -> None:
    text = HEAD + TWO.replace('seen"\n', 'seen"\ntargets = ["feed/two-up"]\n', 1)
    (fault,) = faults_of(write_job(tmp_path, text, FRAMES))
    assert fault == "job.toml: frames[1] bowl.jpg: targets: 'feed/two-up' takes two frames; write [[pairs]] with both"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("safe = { top = 0.1 }", "there is safe with layout; these are for pictures of one frame"),
        ("gap_px = 400\nsize_px = [420, 300]", "gap_px leaves two frames no room in 420 px; make it smaller"),
    ],
)
def test_what_does_not_go_with_a_layout(tmp_path: Path, change: str, said: str) -> None:
    (fault,) = faults_of(write_job(tmp_path, HEAD + f'[targets."feed/two-up"]\n{change}\n' + TWO + PAIR, FRAMES))
    assert said in fault


def test_a_gap_without_a_layout(tmp_path: Path) -> None:
    (fault,) = faults_of(write_job(tmp_path, HEAD + '[targets."feed/tall"]\ngap_px = 9\n' + TWO, FRAMES))
    assert "there is gap_px without layout; it is the room between two frames" in fault
