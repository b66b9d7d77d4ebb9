"""Pages with marks against the pages as they are made without: letter for letter the same."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.deliver.manifest import manifest_json
from pipeline.deliver.reworded.captions import Captions, captions_in, captions_of
from pipeline.deliver.reworded.manifest import reworded_manifest
from pipeline.deliver.reworded.pages import ALL_FILES, Pages
from pipeline.deliver.sheet.page import sheet_html
from pipeline.deliver.web.kit import web_kit
from pipeline.job.plain_words import are_words
from tests.deliver.sheet.many import all_made, review_of_plan
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pipeline.job.job import Job
    from pipeline.plan.rendition import Plan, PlannedFrame

JOB = """\
profiles = ["blog", "partner"]
[shoot]
title = "Bean soup"
targets = ["blog/hero", "blog/link-preview", "blog/step", "partner/proof"]
[sponsor]
name = "Tidewater Beans"
disclosure = "Advertisement & more."
[[frames]]
file = "bowl.jpg"
subject = [0.5, 0.5]
alt = "A bowl"
caption = "Served <hot>"
step = 1
[[frames]]
file = "jar.jpg"
subject = [0.5, 0.5]
alt = { fr = "Un bocal", en = "A jar" }
caption = { fr = "Bon", en = "Good" }
step = 1
[[frames]]
file = "cup.jpg"
subject = [0.5, 0.5]
alt = "A cup"
"""
SIZES = ((3000, 2000),) * 3
WORDS = st.text("<>&'\"\\/,;=+-@ \nab1\u00e9\u4e2d\U0001f372\ue000\ufdd0", min_size=1).filter(
    lambda text: are_words(text) and text == text.strip()
)


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Plan]:
    """Return a job and its plan: captions in one language and in two, and none."""
    return plan_of(tmp_path_factory.mktemp("shoot"), JOB, *SIZES)


def saying(plan: Plan, captions: dict[str, Captions]) -> Plan:
    """Return the plan with other captions, as if the job had them."""

    def said(frame: PlannedFrame) -> PlannedFrame:
        if frame.slug not in captions:
            return frame
        in_facts = captions[frame.slug].in_facts
        renditions = (replace(one, facts=in_facts(one.facts)) for one in frame.renditions)
        whole = replace(frame.whole, facts=in_facts(frame.whole.facts))
        return replace(frame, facts=in_facts(frame.facts), whole=whole, renditions=tuple(renditions))

    return replace(plan, frames=tuple(map(said, plan.frames)))


@given(bowl=WORDS, french=WORDS, english=WORDS)
@settings(max_examples=15, deadline=None)
def test_every_page_is_the_page_without_marks(shoot: tuple[Job, Plan], bowl: str, french: str, english: str) -> None:
    job, plan = shoot
    made = all_made(plan)
    known = captions_of(job)
    captions = {"bowl": known["bowl"].saying({"": bowl}), "jar": known["jar"].saying({"fr": french, "en": english})}
    plan = saying(plan, captions)
    pages, review = Pages(captions), review_of_plan(plan)
    sheet = sheet_html(pages.marked(plan), made, review, weigh=pages.weigh)
    assert pages.filled("sheet", sheet.encode()).decode() == sheet_html(plan, made, review)
    for place, content in web_kit(pages.marked(plan), made, plan.disclosure).items():
        assert pages.filled(place, content) == web_kit(plan, made, plan.disclosure)[place], place
    named = {name for page in pages.written.values() for _, _, _, name in page.holes}
    assert {"caption bowl ", "caption jar en", "caption jar fr", ALL_FILES} <= named
    assert any(name.startswith("caption") for _, _, _, name in pages.written["index.html"].holes)


@given(bowl=WORDS, french=WORDS, english=WORDS)
@settings(max_examples=15, deadline=None)
def test_the_manifest_is_the_one_that_is_made_anew(
    shoot: tuple[Job, Plan], bowl: str, french: str, english: str
) -> None:
    job, plan = shoot
    made, contents = all_made(plan), {frame.slug: "0" * 64 for frame in plan.frames}
    known = captions_of(job)
    captions = {"bowl": known["bowl"].saying({"": bowl}), "jar": known["jar"].saying({"fr": french, "en": english})}
    rows = {
        path: replace(row, sha256="1" * 64, size_bytes=row.size_bytes + 7)
        for path, row in made.items()
        if "-bowl-" in path or "-jar-" in path
    }
    assert rows
    before = manifest_json(plan, made, contents)
    after = manifest_json(saying(plan, captions), made | rows, contents)
    assert reworded_manifest(before, captions, rows) == after
    assert reworded_manifest(after, known, made) == before
    assert reworded_manifest(before, {}, {}) == before


def test_a_manifest_of_another_hand_is_left_alone(shoot: tuple[Job, Plan]) -> None:
    job, plan = shoot
    made, contents = all_made(plan), {frame.slug: "0" * 64 for frame in plan.frames}
    data = manifest_json(plan, made, contents)
    assert reworded_manifest(data.replace(b'   "about": ', b'   "about":  '), captions_of(job), made) is None
    assert (
        reworded_manifest(data.replace(b'"picture_sha256": null', b'"picture_sha256": "0"'), captions_of(job), made)
        is None
    )


def test_a_caption_that_pages_do_not_show_as_it_is_written_is_none_of_these() -> None:
    assert captions_in("Served hot") == {"": "Served hot"}
    assert captions_in({"en": "Hot", "fr": "Chaud"}) == {"en": "Hot", "fr": "Chaud"}
    for other in (None, "", " Hot", "Hot\n", {}, {"en": "Hot", "fr": " "}, {"en": 1}, 3, ["Hot"]):
        assert captions_in(other) is None, other
