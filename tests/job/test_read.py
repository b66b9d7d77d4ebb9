from __future__ import annotations

import datetime as dt
import json
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.job.explain import toml_text
from pipeline.job.model import PIXEL_LIMIT, Credit, CropHand, FrameEntry, JobFile, Shoot
from pipeline.job.read import read_job
from pipeline.job.target import Safe, Sharpen, Target
from tests.small_shoot import FRAME, HEAD, JOB, OWN_TARGET, faults_of, frame, write_job

if TYPE_CHECKING:
    from pathlib import Path

WHOLE = """
profiles = ["blog", "mine"]
profiles_folder = "my-profiles"
pixel_limit = 2_000_000

[shoot]
title = "Crème of tomato"
date = 2026-09-12
language = "en-GB"
keywords = ["soup"]
content_width = 680
targets = ["blog/step"]
job_id = "LL-1"

[credit]
creator = ["Ines Falkenrath", "Jö Tàn"]

[sponsor]
name = "Tidewater Beans"
disclosure = "Advertisement."

[targets."blog/hero"]
widths = [200]

[[frames]]
file = "bowl.jpg"
view = "overhead"
subject = [0, 1]
keep = [0.1, 0.2, 0.3, 0.4]
slug = "bowl-from-above"
step = 3
alt = { en = "A bowl", fr = "Un bol" }
caption = "The bowl"
keywords = ["bowl"]
note = "her own"
targets = ["blog/hero", "mine/square"]
credit.creator = "Somebody Else"

[[frames]]
file = "bread.jpg"
subject = [0.5, 0.5]
alt = ""
decorative = true
"""


def test_a_whole_job_is_read(tmp_path: Path) -> None:
    (tmp_path / "my-profiles").mkdir()
    own = f'outlet = "mine"\nabout = "Mine"\nname = "{{frame}}-{{width}}"\n[targets.square]{OWN_TARGET}'
    (tmp_path / "my-profiles" / "mine.toml").write_text(own)
    job = read_job(write_job(tmp_path, WHOLE, ("bowl.jpg", "bread.jpg")))
    assert (job.slug, job.pixel_limit, job.shoot.date) == ("creme-of-tomato", 2_000_000, dt.date(2026, 9, 12))
    assert job.credit.creator == ("Ines Falkenrath", "Jö Tàn")
    assert job.sponsor
    assert job.sponsor.name == "Tidewater Beans"
    first, second = job.frames
    assert (first.slug, first.entry.alt, first.entry.credit.creator) == (
        "bowl-from-above", {"en": "A bowl", "fr": "Un bol"}, "Somebody Else",
    )  # fmt: skip
    assert [(one.outlet, one.name, one.name_template) for one in first.requests] == [
        ("blog", "hero", "{slug}-{frame}-{target}-{width}"),
        ("mine", "square", "{frame}-{width}"),
    ]
    assert first.requests[0].target.widths == (200,)
    assert (second.slug, [one.name for one in second.requests]) == ("bread", ["step"])


@pytest.mark.parametrize(
    ("title", "slug"),
    [("Bean soup", "bean-soup"), ("熱い", "job"), ('Soup"\nslug = "Other Name', "other-name")],
)
def test_the_shoots_slug(tmp_path: Path, title: str, slug: str) -> None:
    assert slug == read_job(write_job(tmp_path, JOB.replace("Bean soup", title))).slug


@pytest.mark.parametrize("title", ["For partner", 'Soup"\nslug = "for-partner', "For: Partner!"])
def test_a_shoot_is_not_called_as_an_outlets_sheet_is(tmp_path: Path, title: str) -> None:
    """Her own sheet in one file would stand under the partner's name, and be sent to the partner."""
    assert faults_of(write_job(tmp_path, JOB.replace("Bean soup", title))) == [
        (
            "job.toml: shoot: slug: this shoot is called 'for-partner', which is what the contact sheet for the outlet "
            "'partner' is called; give the shoot another slug"
        )
    ]


@pytest.mark.parametrize("title", ["Partner", "For the partner", "For market", "For partners"])
def test_other_shoots_may_begin_in_the_same_way(tmp_path: Path, title: str) -> None:
    assert faults_of(write_job(tmp_path, JOB.replace("Bean soup", title))) == []


def test_what_a_short_job_leaves_out(tmp_path: Path) -> None:
    job = read_job(write_job(tmp_path))
    assert (job.pixel_limit, job.sponsor, job.shoot.language) == (PIXEL_LIMIT, None, "en")


def test_unknown_keys_at_every_level_with_the_nearest_name(tmp_path: Path) -> None:
    text = (
        'profile = ["blog"]\n' + HEAD + 'titel = "x"\n'
        '[credit]\ncreater = "x"\n[sponsor]\nname = "a"\ndisclosure = "b"\nnmae = "c"\n'
        + FRAME
        + 'subjct = [1, 1]\n[frames.credit]\ncopyrigth = "c"\n'
        '[[frames.crops]]\ntarget = "blog/step"\nancor = "centre"\n'
        '[targets."blog/hero"]\nwidhts = [100]\n[targets."blog/hero".sharpen]\nmedim = "screen"\n'
        '[targets."blog/hero".quality]\njpg = 3\n[targets."feed/vertical".safe]\ntpo = 0.1\n'
        '[targets."print/a4".safe_mm]\ninside = 3\n'
    )
    said = faults_of(write_job(tmp_path, text))
    found = {fault.split(": ")[-2]: fault.rpartition("did you mean ")[2] for fault in said}
    assert found == {
        "profile": "'profiles'?", "titel": "'title'?", "creater": "'creator'?", "nmae": "'name'?",
        "subjct": "'subject'?", "copyrigth": "'copyright'?", "ancor": "'anchor'?", "widhts": "'widths'?",
        "medim": "'medium'?", "jpg": "'jpeg'?", "tpo": "'top'?", "inside": "'outside'?",
    }  # fmt: skip
    assert all("is no key of this table; its keys are " in fault for fault in said)


def test_every_fault_of_a_job_is_told_at_once(tmp_path: Path) -> None:
    text = (
        HEAD.replace('"partner"]', '"partnr"]').replace('title = "Bean soup"', 'language = "en_US"')
        + '[credit]\nlicence_url = "larder.example"\n'
        + FRAME.replace("bowl.jpg", "bowk.jpg").replace("[0.5, 0.5]", "[0.5, 1.5]")
        + 'keep = [0.3, 0.3, 0.3, 0.9]\nview = "overhed"\ntargets = ["blog/hro"]\n'
        + FRAME.replace("bowl.jpg", "bread.jpg")
        + 'alt = "twice"\n'
    )
    assert len(faults_of(write_job(tmp_path, text, ("bowl.jpg", "bread.jpg")))) == 1, "a key twice: no TOML"
    text = text.replace('alt = "twice"\n', "slug = 'bowk'\n[targets.\"blog/hero\"]\nreach = 2\n")
    assert faults_of(write_job(tmp_path, text)) == [
        'job.toml: shoot: language: found "en_US"; write a language tag such as "en", "fr" or "pt-BR"',
        'job.toml: shoot: title: nothing is given; write, for example, title = "Tomato and white bean soup"',
        'job.toml: credit: licence_url: found "larder.example"; write a whole web address, beginning with https://',
        (
            "job.toml: frames[1] bowk.jpg: subject: found [0.5, 1.5]; "
            'write [across, down] as fractions from 0 (left or top edge) to 1 (right or bottom edge), or "auto"'
        ),
        (
            "job.toml: frames[1] bowk.jpg: keep: found [0.3, 0.3, 0.3, 0.9]; this box is empty; "
            "write it as [left, top, right, bottom] with left < right and top < bottom"
        ),
        (
            "job.toml: frames[1] bowk.jpg: view: found \"overhed\"; it must be 'overhead', 'three-quarter' or "
            "'straight-on'; did you mean 'overhead'?"
        ),
        (
            "job.toml: profiles[4]: no outlet is called 'partnr'; the outlets are blog, feed, partner, print; "
            "did you mean 'partner'?"
        ),
        'job.toml: targets."blog/hero": reach: found 2; it must be at most 1',
        (
            "job.toml: frames[1] bowk.jpg: file: there is no such file; "
            "file names a picture, as seen from the job file's folder; did you mean 'bowl.jpg'?"
        ),
        (
            "job.toml: frames[1] bowk.jpg: targets: no target is called 'blog/hro'; known are blog/hero, blog/step, "
            "blog/card-square, blog/card-four-three, blog/card-wide, blog/link-preview, blog/letter, blog/video-still; "
            "did you mean 'blog/hero'?"
        ),
        (
            "job.toml: frames[2] bread.jpg: slug: its files would be named 'bowk', as those of frames[1] bowk.jpg are; "
            "give each frame a slug of its own"
        ),
    ]


@pytest.mark.parametrize("folder", ["nope", "bowl.jpg", "a" * 300])
def test_a_folder_of_profiles_that_is_none(tmp_path: Path, folder: str) -> None:
    said = faults_of(write_job(tmp_path, f'profiles_folder = "{folder}"\n' + JOB))
    assert [fault.startswith(f"job.toml: profiles_folder {folder}: ") for fault in said] == [True]


def test_an_own_profile_that_cannot_be_read_is_told_once(tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "mine.toml").write_text("outlet =")
    text = (
        'profiles_folder = "own"\n' + HEAD.replace('"blog"', '"mine", "blog"') + FRAME + 'targets = ["mine/square"]\n'
    )
    assert faults_of(write_job(tmp_path, text)) == [
        "own/mine.toml: end of the file: it ends in the middle of a value; close what was opened last"
    ]


def test_an_outlet_found_twice_is_a_fault_of_the_job(tmp_path: Path) -> None:
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "blog.toml").write_text(f'outlet = "blog"\nabout = "Mine"\n[targets.square]{OWN_TARGET}')
    (fault,) = faults_of(write_job(tmp_path, 'profiles_folder = "own"\n' + JOB))
    assert fault.startswith("own/blog.toml: outlet: the outlet 'blog' is also in blog.toml (ships with plateline); ")


@pytest.mark.parametrize(
    "text", ["", "frames = 3", "frames = [[], 3]", "shoot = []", 'profiles = { a = "b" }', "targets = 1"]
)
def test_what_is_far_from_a_job(tmp_path: Path, text: str) -> None:
    said = faults_of(write_job(tmp_path, text))
    assert said
    assert not [fault for fault in said if not fault.isprintable()]


KEYS = sorted(
    {
        key
        for model in (JobFile, Shoot, Credit, FrameEntry, CropHand, Target, Safe, Sharpen)
        for key in model.model_fields
    }
)
WORDS = st.sampled_from(
    ["", "blog", "blog/hero", "feed/*", "bowl.jpg", "thirds", "1:1", "en", "a\x00b", "\u202e", "*" * 50]
)
LEAVES = (
    st.booleans()
    | st.integers(-(2**63), 2**63 - 1)
    | st.floats()
    | WORDS
    | st.text(max_size=5)
    | st.dates()
    | st.times()
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(KEYS) | WORDS, inner, max_size=5),
    max_leaves=25,
)
SOUND: dict[str, Any] = {
    "profiles": ["blog", "feed"],
    "shoot": {"title": "x", "targets": ["blog/step"]},
    "frames": [{"file": "bowl.jpg", "subject": [0.5, 0.5]}],
}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow], deadline=None)
@given(st.sampled_from(KEYS), TREES, st.sampled_from(["job", "shoot", "frame", "target", "credit", "whole"]))
def test_whatever_a_job_holds_it_is_read_or_refused_in_sentences(
    tmp_path: Path, key: str, tree: object, at: str
) -> None:
    data: dict[str, Any] = json.loads(json.dumps(SOUND))
    places: dict[str, dict[str, Any]] = {
        "job": data,
        "shoot": data["shoot"],
        "frame": data["frames"][0],
        "target": data.setdefault("targets", {}).setdefault("blog/hero", {}),
        "credit": data.setdefault("credit", {}),
    }
    if at == "whole":
        data = {key: tree}
    else:
        places[at][key] = tree
    if not (tmp_path / "bowl.jpg").exists():
        frame(tmp_path / "bowl.jpg")
    job = tmp_path / "job.toml"
    text = "".join(f"{toml_text(key)} = {toml_text(value)}\n" for key, value in data.items())
    job.write_text(text.replace("\x7f", "\\u007f"), encoding="utf-8")
    assert [said for said in faults_of(job) if not said.isprintable()] == []
