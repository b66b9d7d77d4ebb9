from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.job.asked import is_utf8, matching
from pipeline.job.read import read_job
from pipeline.light.box import Point, Region
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, faults_of, frame, write_job

PLACE = "job.toml: frames[1] bowl.jpg: "


def names(job: Path) -> list[list[str]]:
    """Return the targets of each frame."""
    return [[f"{one.outlet}/{one.name}" for one in asked.requests] for asked in read_job(job).frames]


def test_a_frame_that_names_no_target_gets_the_shoots(tmp_path: Path) -> None:
    assert names(write_job(tmp_path, HEAD.replace('"blog/step"', '"blog/hero", "feed/tall"') + FRAME)) == [
        ["blog/hero", "feed/tall"]
    ]


def test_a_frames_own_targets_replace_the_shoots_and_may_be_globs(tmp_path: Path) -> None:
    text = JOB + 'targets = ["blog/card-*", "feed/tall", "feed/t*"]\n'
    assert names(write_job(tmp_path, text)) == [
        ["blog/card-square", "blog/card-four-three", "blog/card-wide", "feed/tall", "feed/two-three"]
    ]


def test_a_new_target_of_the_job_can_be_asked_for(tmp_path: Path) -> None:
    text = JOB + f'targets = ["blog/poster"]\n[targets."blog/poster"]{OWN_TARGET}'
    assert names(write_job(tmp_path, text)) == [["blog/poster"]]


@given(st.lists(st.text("ab/", max_size=4)), st.text("ab/*?[]!", max_size=5))
def test_a_glob_keeps_the_order_of_the_names(known: list[str], pattern: str) -> None:
    found = iter(matching(known, pattern))
    assert all(name in known for name in found)
    assert matching(known, "*") == known


def test_a_hand_at_one_target_changes_that_one_alone(tmp_path: Path) -> None:
    text = JOB + (
        'keep = [0.2, 0.2, 0.8, 0.8]\ntargets = ["feed/*"]\n'
        '[[frames.crops]]\ntarget = "feed/*"\nanchor = "centre"\n'
        '[[frames.crops]]\ntarget = "feed/tall"\nsubject = [0.1, 0.2]\nkeep = [0.1, 0.1, 0.3, 0.3]\n'
        '[[frames.crops]]\ntarget = "feed/t*"\nanchor = [0.25, 0.75]\n'
    )
    (asked,) = read_job(write_job(tmp_path, text)).frames
    by_name = {one.name: one for one in asked.requests}
    whole, tall = by_name["square"], by_name["tall"]
    assert (whole.subject, whole.keep, whole.anchor) == (Point(0.5, 0.5), Region(0.2, 0.2, 0.8, 0.8), "centre")
    assert (tall.subject, tall.keep, tall.anchor) == (Point(0.1, 0.2), Region(0.1, 0.1, 0.3, 0.3), Point(0.25, 0.75))
    assert by_name["two-three"].anchor == Point(0.25, 0.75)


def test_an_anchor_by_hand_is_told_from_the_profiles(tmp_path: Path) -> None:
    text = JOB + 'targets = ["feed/*"]\n[[frames.crops]]\ntarget = "feed/tall"\nanchor = "thirds"\n'
    (asked,) = read_job(write_job(tmp_path, text)).frames
    assert [one.name for one in asked.requests if one.anchor_by_hand] == ["tall"]


@pytest.mark.parametrize(
    ("file", "slug", "expected"),
    [
        ("bowl.jpg", 'slug = "Crème Bowl"', "creme-bowl"),
        ("IMG_0001.jpg", "", "img-0001"),
        ("selects/Bowl (1).jpg", "", "bowl-1"),
        ("熱い.jpg", "", "frame-1"),
    ],
)
def test_a_frame_is_called_by_its_slug_or_by_its_file(tmp_path: Path, file: str, slug: str, expected: str) -> None:
    job = write_job(tmp_path, JOB.replace("bowl.jpg", file) + slug, (file,))
    (asked,) = read_job(job).frames
    assert (asked.slug, asked.place, asked.path) == (expected, f"frames[1] {file}", tmp_path / file)


@pytest.mark.parametrize(
    ("target", "said"),
    [
        (
            "feed/tal",
            (
                "targets: no target is called 'feed/tal'; known are feed/square, feed/tall, feed/two-three, "
                "feed/vertical, feed/avatar; did you mean 'feed/tall'?"
            ),
        ),
        ("FEED/TALL", "did you mean 'feed/tall'?"),
        ("fed/*", "did you mean 'feed/*'?"),
        ("feed/toll*", "did you mean 'feed/tall'?"),
        ("tall", "targets: no target is called 'tall'; known are blog/hero, blog/step, "),
        ("shop/hero", "and 10 more (`plateline targets` lists all); did you mean 'blog/hero'?"),
        ("blog/[", "targets: no target is called 'blog/['; known are blog/hero, "),
        ("*a" * 49, "targets: no target is called "),
    ],
)
def test_an_unknown_target(tmp_path: Path, target: str, said: str) -> None:
    (fault,) = faults_of(write_job(tmp_path, JOB + f'targets = ["{target}"]\n'))
    assert fault.startswith(PLACE)
    assert said in fault


def test_a_target_of_an_outlet_that_the_job_does_not_name(tmp_path: Path) -> None:
    text = JOB.replace(', "feed"', "") + 'targets = ["feed/tall", "feed/tal", "feed/*"]\n'
    assert faults_of(write_job(tmp_path, text)) == [
        f"{PLACE}targets: 'feed/tall' is at an outlet that this job does not name; add \"feed\" to profiles",
        (
            f"{PLACE}targets: no target is called 'feed/tal'; known are blog/hero, blog/step, blog/card-square, "
            "blog/card-four-three, blog/card-wide, blog/link-preview, blog/letter, blog/video-still and 5 more "
            "(`plateline targets` lists all)"
        ),
        f"{PLACE}targets: 'feed/*' is at an outlet that this job does not name; add \"feed\" to profiles",
    ]


@pytest.mark.parametrize(
    "text",
    [
        JOB.replace('"blog", ', '"blgo", '),
        JOB.replace('profiles = ["blog", "feed", "print", "partner"]', 'profiles = "blog"'),
        JOB + 'targets = ["blog/poster"]\n[targets."blog/poster"]\nratio = "1x1"\n',
        JOB + 'targets = ["blog/hero"]\n[targets."blog/hero"]\nwidhts = [1]\n',
        JOB.replace('targets = ["blog/step"]', "targets = 3"),
        JOB.replace('targets = ["blog/step"]', "targets = [3]"),
    ],
    ids=["outlet misspelt", "outlets no list", "new target at fault", "change at fault", "no list", "no text"],
)
def test_one_mistake_is_not_told_again_at_each_frame(tmp_path: Path, text: str) -> None:
    said = faults_of(write_job(tmp_path, text))
    assert said
    assert not [fault for fault in said if "frames[1]" in fault]


@pytest.mark.parametrize("text", [JOB + "targets = []\n", JOB.replace('targets = ["blog/step"]\n', "")])
def test_a_frame_that_goes_nowhere(tmp_path: Path, text: str) -> None:
    assert faults_of(write_job(tmp_path, text)) == [
        (
            f"{PLACE}targets: it goes to no target; "
            "give it targets of its own, or give [shoot] the targets that all frames share"
        )
    ]


def test_a_hand_at_a_target_that_the_frame_does_not_go_to(tmp_path: Path) -> None:
    text = JOB + '[[frames.crops]]\ntarget = "blog/hero"\n[[frames.crops]]\ntarget = "blog/stp"\n'
    assert faults_of(write_job(tmp_path, text)) == [
        f"{PLACE}crops[{number}]: target: this frame does not go to '{name}'; it goes to blog/step; "
        "did you mean 'blog/step'?"
        for number, name in ((1, "blog/hero"), (2, "blog/stp"))
    ]


NO_PICTURE = "; file names a picture, as seen from the job file's folder"


@pytest.mark.parametrize(
    ("name", "found", "close"),
    [
        ("bowk.jpg", "there is no such file", "bowl.jpg"),
        ("BOWL.JPG", "there is no such file", "bowl.jpg"),
        ("selects/bred.jpg", "there is no such file", "selects/bread.jpg"),
        ("else/bowl.jpg", "there is no such file", None),
        ("bowl.jpg/bowl.jpg", "there is no such file", None),
        ("selects", "this is a folder", None),
        (".", "this is a folder", None),
        ("pipe.jpg", "this is a device or a pipe, not a file", None),
        ("/dev/zero", "this is a device or a pipe, not a file", None),
        ("a" * 300, "it cannot be read (file name too long)", None),
    ],
)
def test_a_file_that_cannot_be_opened(tmp_path: Path, name: str, found: str, close: str | None) -> None:
    frame(tmp_path / "selects" / "bread.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    job = write_job(tmp_path)
    job.write_text(JOB.replace("bowl.jpg", name), encoding="utf-8")
    (fault,) = faults_of(job)
    hint = f"; did you mean '{close}'?" if close else ""
    assert fault == f"job.toml: frames[1] {name}: file: {found}{NO_PICTURE}{hint}"


def test_a_folder_whose_name_is_not_utf_8(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    folder.mkdir()
    job = folder / "job.toml"
    job.write_text(JOB, encoding="utf-8")
    (fault,) = faults_of(job)
    assert "file: the name of its folder is not UTF-8; " in fault
    assert (is_utf8(folder), is_utf8(tmp_path)) == (False, True)


def test_two_frames_of_one_slug_also_where_the_case_differs(tmp_path: Path) -> None:
    other = FRAME.replace("bowl.jpg", "bread.jpg") + 'slug = "Bowl"\n'
    last = FRAME.replace("bowl.jpg", "selects/BOWL.png")
    assert faults_of(write_job(tmp_path, JOB + other + last, ("bowl.jpg", "bread.jpg", "selects/BOWL.png"))) == [
        f"job.toml: {place}: slug: its files would be named 'bowl', as those of frames[1] bowl.jpg are; "
        "give each frame a slug of its own"
        for place in ("frames[2] bread.jpg", "frames[3] selects/BOWL.png")
    ]


def test_one_picture_named_twice(tmp_path: Path) -> None:
    (tmp_path / "selects").mkdir()
    again = FRAME.replace("bowl.jpg", "./selects/../bowl.jpg") + 'slug = "detail"\n'
    assert faults_of(write_job(tmp_path, JOB + again)) == [
        (
            "job.toml: frames[2] ./selects/../bowl.jpg: file: this file is frames[1] bowl.jpg already; "
            "list each picture once; where a target needs its own hand, write [[frames.crops]]"
        )
    ]
