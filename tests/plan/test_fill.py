from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.frames.words import Stated
from pipeline.plan.facts import Translation
from pipeline.plan.fill import Described, describe, field_word
from tests.small_shoot import FRAME, HEAD, header_of, plan_of

if TYPE_CHECKING:
    from pathlib import Path

SILENT = FRAME.replace('alt = "A bowl of soup"\n', "")
STATED = Stated(
    title="The bowl", headline="Supper", description="Hot soup.", alt="A bowl", long_alt="Long", creators=("Ana",),
    creator_title="Cook", credit_line="Ana / Küche", copyright="© Ana", licence_url="https://ana.example/l",
    usage_terms="Ask.", keywords=("soup",), date_created="2026-09-11T10:24:31", source="Own", rating=4,
    digital_source="digitalCapture",
    origins=(
        *((name, "XMP") for name in ("title", "headline", "alt", "long_alt", "creator_title", "credit_line", "rating")),
        *((name, "sidecar") for name in ("licence_url", "usage_terms", "source", "digital_source")),
        ("description", "IIM"), ("keywords", "IIM"), ("creators", "Exif"), ("copyright", "Exif"),
        ("date_created", "Exif"),
    ),
)  # fmt: skip


def described(folder: Path, text: str, stated: Stated = STATED, **camera: Any) -> Described:  # noqa: ANN401 (of CameraFacts)
    job, _ = plan_of(folder, text, (600, 400))
    (asked,) = job.frames
    return describe(job, asked, replace(header_of(asked.path, (600, 400), **camera), stated=stated))


def test_a_silent_job_is_filled_by_the_frame_and_told_from_where(tmp_path: Path) -> None:
    found = described(tmp_path, HEAD + SILENT)
    facts = found.facts
    for name in (
        "headline", "description", "alt", "long_alt", "creators", "creator_title", "credit_line", "copyright",
        "licence_url", "usage_terms", "keywords", "date_created", "source", "rating", "digital_source",
    ):  # fmt: skip
        assert getattr(facts, name) == getattr(STATED, name)
    origins = dict(found.origins)
    assert (origins["title"], facts.title) == ("job", "Bean soup")
    assert (origins["alt"], origins["description"], origins["copyright"], origins["source"]) == (
        "XMP of the frame", "IIM of the frame", "Exif of the frame", "sidecar of the frame",
    )  # fmt: skip
    assert found.notes == ("not used, because the job says otherwise: the frame's own title 'The bowl'",)


def test_a_word_of_the_job_goes_before_the_frames_and_the_difference_is_noted(tmp_path: Path) -> None:
    own = (
        'alt = "Mine"\ncaption = "Hot  soup."\nkeywords = ["beans"]\nrating = 2\n'
        'credit.creator = "Bo"\ncredit.copyright = "© Bo"\n'
    )
    found = described(tmp_path, HEAD + SILENT + own)
    facts, origins = found.facts, dict(found.origins)
    assert (facts.alt, facts.description, facts.keywords, facts.rating) == ("Mine", "Hot  soup.", ("beans",), 2)
    assert (facts.creators, facts.copyright, facts.credit_line) == (("Bo",), "© Bo", "Ana / Küche")
    assert {origins[name] for name in ("alt", "description", "keywords", "rating", "creators")} == {"job"}
    noted = [note.split(" own ")[1].split(" '")[0] for note in found.notes]
    assert sorted(noted) == ["alt", "copyright", "creators", "keywords", "rating", "title"], "equal words are no news"
    assert facts.creator_title is None, "the job title of somebody else"


def test_the_shoots_credit_goes_before_the_frames(tmp_path: Path) -> None:
    found = described(tmp_path, HEAD + '[credit]\ncreator = "Bo"\n' + SILENT)
    assert (found.facts.creators, dict(found.origins)["creators"]) == (("Bo",), "job")


@pytest.mark.parametrize(
    ("stated", "taken", "date", "origin"),
    [
        (STATED, None, "2026-09-11T10:24:31", "Exif of the frame"),
        (Stated(), "2026-09-10T10:24:31", "2026-09-10T10:24:31", "Exif of the frame"),
        (Stated(), None, "2026-09-12", "job"),
    ],
)
def test_the_day_of_the_shoot_stands_in_for_a_date(
    tmp_path: Path, stated: Stated, taken: str | None, date: str, origin: str
) -> None:
    shoot = HEAD.replace('title = "Bean soup"', 'title = "Bean soup"\ndate = 2026-09-12')
    found = described(tmp_path, shoot + FRAME, stated, taken=taken)
    assert (found.facts.date_created, dict(found.origins)["date_created"]) == (date, origin)


def test_how_a_picture_came_about_is_its_own_before_the_shoots(tmp_path: Path) -> None:
    shoot = HEAD.replace('title = "Bean soup"', 'title = "Bean soup"\ndigital_source = "digitalCreation"')
    assert described(tmp_path, shoot + FRAME).facts.digital_source == "digitalCapture"
    own = 'digital_source = "humanEdits"\n'
    assert described(tmp_path, shoot + FRAME + own).facts.digital_source == "humanEdits"
    assert described(tmp_path, shoot + FRAME, Stated()).facts.digital_source == "digitalCreation"


def test_a_sponsors_disclosure_follows_the_frames_caption(tmp_path: Path) -> None:
    sponsor = '[sponsor]\nname = "Tidewater Beans"\ndisclosure = "Advertisement."\n'
    found = described(tmp_path, HEAD + sponsor + SILENT)
    assert found.facts.description == "Hot soup. Advertisement."
    alone = described(tmp_path, HEAD + sponsor + SILENT, Stated())
    assert (alone.facts.description, dict(alone.origins)["description"]) == ("Advertisement.", "job")


def test_a_decorative_picture_takes_no_alt_text_from_the_frame(tmp_path: Path) -> None:
    facts = described(tmp_path, HEAD + SILENT + "decorative = true\n").facts
    assert (facts.alt, facts.long_alt) == ("", None)


def test_other_languages_of_the_frame_come_along_where_it_fills(tmp_path: Path) -> None:
    tongues = (("alt", "en", "A bowl"), ("alt", "fr", "Un bol"), ("description", "fr", "Soupe"), ("title", "fr", "Bol"))
    stated = replace(STATED, in_languages=tongues)
    found = described(tmp_path, HEAD + SILENT + 'caption = { en = "Mine", de = "Meins" }\n', stated)
    assert found.facts.translations == (
        Translation("de", description="Meins"), Translation("fr", alt="Un bol"),
    )  # fmt: skip


def test_words_in_another_language_than_the_shoots_are_noted(tmp_path: Path) -> None:
    stated = Stated(alt="Un bol", in_languages=(("alt", "fr", "Un bol"),), origins=(("alt", "XMP"),))
    found = described(tmp_path, HEAD + SILENT, stated)
    assert found.facts.alt == "Un bol"
    assert found.notes == ("the frame's alt is in fr, and the words of the shoot are in en",)


def test_a_contradiction_within_the_frame_matters_only_where_its_word_is_used(tmp_path: Path) -> None:
    stated = replace(STATED, conflicts=(("description", "caption: A, B"), ("alt", "alt: C, D")), notes=("damaged",))
    found = described(tmp_path, HEAD + FRAME, stated)
    assert found.conflicts == ("caption: A, B",)
    assert found.notes[0] == "damaged"


def test_words_for_facts() -> None:
    assert [field_word(name) for name in ("description", "date_created", "credit_line")] == [
        "caption", "date", "credit line",
    ]  # fmt: skip
