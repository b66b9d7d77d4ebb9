from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.plan.describe import PROOF_TERMS, facts_under, in_language
from pipeline.plan.facts import PictureFacts
from pipeline.plan.fill import describe
from tests.small_shoot import FRAME, HEAD, header_of, plan_of

if TYPE_CHECKING:
    from pathlib import Path

CREDIT = """
[credit]
creator = ["Ines Falkenrath", "Jö Tàn"]
credit_line = "Ines Falkenrath / Larder & Light"
copyright = "© 2026 Ines Falkenrath"
licence_url = "https://larder-and-light.example/licence"
acquire_url = "https://larder-and-light.example/buy"
usage_terms = "Show it beside a link to the recipe."
"""
SHOOT = HEAD.replace(
    'title = "Bean soup"', 'title = "Bean soup"\ndate = 2026-09-12\nkeywords = ["soup", "beans"]\njob_id = "LL-1"'
)


def facts_of(folder: Path, text: str, **camera: Any) -> PictureFacts:  # noqa: ANN401 (the fields of CameraFacts)
    job, _ = plan_of(folder, text, (600, 400))
    (asked,) = job.frames
    return describe(job, asked, header_of(asked.path, (600, 400), **camera)).facts


@pytest.mark.parametrize(
    ("words", "language", "expected"),
    [
        (None, "en", None),
        ("one for all", "fr", "one for all"),
        ({"en": "bowl", "fr": "bol"}, "fr", "bol"),
        ({"en": "bowl", "fr": "bol"}, "fr-CA", "bol"),
        ({"en": "bowl", "fr-CA": "bol"}, "fr", "bol"),
        ({"fr": "bol", "en": "bowl"}, "de", "bol"),
        ({}, "en", None),
    ],
)
def test_words_in_the_shoots_language_or_the_nearest(words: Any, language: str, expected: str | None) -> None:  # noqa: ANN401 (text, table or none)
    assert expected == in_language(words, language)


def test_the_shoots_facts_are_every_frames(tmp_path: Path) -> None:
    facts = facts_of(tmp_path, SHOOT + CREDIT + FRAME + 'caption = "Hot soup."\nkeywords = ["beans", "bowl"]\n')
    assert facts == PictureFacts(
        language="en",
        title="Bean soup",
        description="Hot soup.",
        alt="A bowl of soup",
        creators=("Ines Falkenrath", "Jö Tàn"),
        credit_line="Ines Falkenrath / Larder & Light",
        copyright="© 2026 Ines Falkenrath",
        licence_url="https://larder-and-light.example/licence",
        acquire_url="https://larder-and-light.example/buy",
        usage_terms="Show it beside a link to the recipe.",
        keywords=("soup", "beans", "bowl"),
        date_created="2026-09-12",
        job_id="LL-1",
    )


def test_a_frames_own_words_go_before_the_shoots(tmp_path: Path) -> None:
    own = 'title = "The bowl"\ncredit.creator = "Somebody Else"\ncredit.copyright = "© Somebody"\n'
    facts = facts_of(tmp_path, SHOOT + CREDIT + FRAME + own)
    assert (facts.title, facts.creators, facts.copyright) == ("The bowl", ("Somebody Else",), "© Somebody")
    assert facts.credit_line == "Ines Falkenrath / Larder & Light"


def test_the_cameras_date_goes_before_the_shoots(tmp_path: Path) -> None:
    assert facts_of(tmp_path, SHOOT + FRAME, taken="2026-09-11T10:24:31+02:00").date_created == (
        "2026-09-11T10:24:31+02:00"
    )
    assert facts_of(tmp_path, HEAD + FRAME).date_created is None


def test_a_sponsors_disclosure_is_in_every_description(tmp_path: Path) -> None:
    sponsor = '[sponsor]\nname = "Tidewater Beans"\ndisclosure = "Advertisement."\n'
    assert facts_of(tmp_path, HEAD + sponsor + FRAME + 'caption = "Hot soup."\n').description == (
        "Hot soup. Advertisement."
    )
    assert facts_of(tmp_path, HEAD + sponsor + FRAME).description == "Advertisement."


@pytest.mark.parametrize(
    ("words", "alt", "decorative"),
    [('alt = "  A bowl \\n"', "A bowl", False), ('alt = ""', None, False), ('alt = "x"\ndecorative = true', "", True)],
)
def test_alt_text_is_there_or_missing_or_empty_for_decoration(
    tmp_path: Path,
    words: str,
    alt: str | None,
    decorative: bool,  # noqa: FBT001 (a column of the table)
) -> None:
    facts = facts_of(tmp_path, HEAD + FRAME.replace('alt = "A bowl of soup"', words))
    assert (facts.alt, facts.decorative) == (alt, decorative)


def test_a_proof_reserves_all_rights_and_sells_nothing(tmp_path: Path) -> None:
    facts = facts_of(tmp_path, SHOOT + CREDIT + FRAME)
    proof = facts_under("proof", facts)
    changed = {field.name for field in fields(facts) if getattr(facts, field.name) != getattr(proof, field.name)}
    assert changed == {"usage_terms", "instructions", "acquire_url"}
    assert (proof.usage_terms, proof.instructions, proof.acquire_url) == (PROOF_TERMS, PROOF_TERMS, None)


@pytest.mark.parametrize("policy", ["public", "full"])
def test_other_policies_leave_the_facts_alone(tmp_path: Path, policy: Any) -> None:  # noqa: ANN401 (a literal)
    facts = facts_of(tmp_path, SHOOT + CREDIT + FRAME)
    assert facts is facts_under(policy, facts)
