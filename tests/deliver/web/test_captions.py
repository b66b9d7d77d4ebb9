"""captions.csv: read back as RFC 4180, safe to open in a spreadsheet, and fit to go back into a job."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from hypothesis import given

from pipeline.deliver.web.captions import captions_csv
from pipeline.plan.facts import PictureFacts, Translation
from tests.deliver.web.kit_shoot import DISCLOSURE, JOB, SIZES
from tests.deliver.web.reading import holds, hostile
from tests.small_shoot import plan_of

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.plan.rendition import Plan
    from tests.deliver.web.kit_shoot import Shoot

LANGUAGES = ("en", "fr", "ar")


def rows(table: bytes) -> list[dict[str, str]]:
    assert table.startswith(b"\xef\xbb\xbf")
    return list(csv.DictReader(io.StringIO(table.decode("utf-8-sig"), newline=""), strict=True))


def saying(plan: Plan, facts: PictureFacts) -> Plan:
    return replace(plan, frames=(replace(plan.frames[0], facts=facts),))


def test_a_row_a_frame_and_two_columns_a_language(plan: Plan) -> None:
    found = rows(captions_csv(plan, LANGUAGES, DISCLOSURE))
    assert list(found[0]) == [
        *("frame", "file", "alt.en", "caption.en", "alt.fr", "caption.fr", "alt.ar", "caption.ar"),
        *("credit", "licence"),
    ]
    assert [row["frame"] for row in found] == ["oil", "bowl", "beans", "linen"]
    assert found[1] == {
        "frame": "bowl",
        "file": "bowl.jpg",
        "alt.en": "A bowl of soup from above",
        "caption.en": "Soup, with bread.",
        "alt.fr": "Un bol de soupe vu d'en haut",
        "caption.fr": "Soupe et pain.",
        "alt.ar": "وعاء من الحساء",
        "caption.ar": "",
        "credit": "Ines Falkenrath / Larder & Light",
        "licence": "https://larder.example/licence",
    }


def test_lines_end_as_rfc_4180_says(plan: Plan) -> None:
    table = captions_csv(plan, LANGUAGES, DISCLOSURE)
    assert table.count(b"\r\n") == table.count(b"\n") == 1 + len(plan.frames)


@pytest.mark.parametrize("alt", ["=1+1", "+1", "-18 °C", "@sum", "\t=1", "\r\n=1"])
def test_no_cell_is_a_formula(plan: Plan, alt: str) -> None:
    """Source: OWASP, CSV Injection."""
    (row,) = rows(captions_csv(saying(plan, PictureFacts("en", alt=alt)), ("en",), None))
    assert row["alt.en"] == f"'{alt.strip()}"


@given(hostile, hostile)
def test_any_words_come_back(shoot: Shoot, alt: str, caption: str) -> None:
    facts = PictureFacts("en", alt=alt, translations=(Translation("fr", description=caption),))
    (row,) = rows(captions_csv(saying(shoot.plan, facts), ("en", "fr"), None))
    for cell, text in ((row["alt.en"], alt), (row["caption.fr"], caption)):
        assert not cell.startswith(("=", "+", "-", "@"))
        expected = holds(text).strip()
        assert cell == (f"'{expected}" if expected.startswith(("=", "+", "-", "@")) else expected)


def test_the_table_can_go_back_into_a_job(plan: Plan, tmp_path: Path) -> None:
    """The job's own words are taken out and come back from the table, with the disclosure once."""
    minus = JOB.replace("White beans in", "-2 °C: white beans in")
    _, written = plan_of(tmp_path, minus, *SIZES)
    (tmp_path / "captions.csv").write_bytes(captions_csv(written, LANGUAGES, DISCLOSURE))
    bare = "\n".join(line for line in minus.splitlines() if not line.startswith(("alt =", "caption =")))
    _, read = plan_of(tmp_path, f'captions = "captions.csv"\n{bare}', *SIZES)
    assert [frame.facts for frame in written.frames] == [frame.facts for frame in read.frames]
    assert plan.frames[0].facts == read.frames[0].facts
