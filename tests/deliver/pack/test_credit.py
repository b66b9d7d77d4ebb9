from __future__ import annotations

from typing import TYPE_CHECKING, Any

from hypothesis import given
from hypothesis import strategies as st

from pipeline.deliver.pack.contact_sheet import ContactSheet
from pipeline.deliver.pack.credit import credit_text
from tests.deliver.pack.listings import SHA, listing, rendition

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

SAID = {
    "language": "en",
    "title": "Bean soup",
    "creators": ["Ines Falkenrath", "Jö Tàn"],
    "creator_title": "Photographers",
    "contributors": [{"name": "Oda", "role": "Stylist"}],
    "credit_line": "Ines / Larder",
    "copyright": "© 2026 Ines",
    "owner": "Larder",
    "licence_url": "https://larder.example/licence",
    "licensor": "The desk",
    "acquire_url": "https://larder.example/buy",
    "usage_terms": "Editorial use only. Licence ends 30 September 2027.",
}
DAYS: dict[str, Any] = {"not_before": "2026-10-01", "licence_ends": "2027-09-30"}


def text(folder: Path, *renditions: dict[str, Any], sheet: ContactSheet | None = None, although: tuple[str, ...] = (),
         **more: Any) -> str:  # fmt: skip  # noqa: ANN401
    mine = listing(folder, *renditions, **more)
    paths = [file.path for one in mine.chosen for file in one.files]
    return credit_text(mine, paths, sheet, although).decode()


def test_what_holds_for_all_is_said_once(tmp_path: Path) -> None:
    first = rendition("bowl", facts=SAID | {"alt": "A bowl", "description": "Hot."}, **DAYS)
    second = rendition("bread", facts=SAID | {"decorative": True, "alt": ""}, **DAYS)
    sponsor = {"name": "Tidewater Beans", "disclosure": "Advertisement."}
    assert (
        text(tmp_path, first, second, sheet=ContactSheet(SHA, 2, ()), sponsor=sponsor)
        == """\
Bean soup: credit and terms
2 pictures in 2 files for partner, round 2, 12 September 2026

These are the photographer's words, as her files carry them. Whether terms, credit and disclosure are enough is
for her and for whoever publishes to settle under their own local rules; this text is no legal advice.

For every picture:
  Creator: Ines Falkenrath, Jö Tàn (Photographers)
  With: Oda (Stylist)
  Credit line: Ines / Larder
  Copyright: © 2026 Ines
  Copyright owner: Larder
  Licence: https://larder.example/licence
  Terms of use: Editorial use only. Licence ends 30 September 2027.
  Licensor: The desk
  To license it: https://larder.example/buy
  Not before: 1 October 2026
  Licence ends: 30 September 2027
  Paid for by: Tidewater Beans
  To be disclosed as: Advertisement.

1. bowl, final
  partner/bowl-partner-final.jpg
  Alt text: A bowl
  Caption: Hot.

2. bread, final
  partner/bread-partner-final.jpg
  Alt text: none: the picture is decoration
"""
    )


def test_terms_that_differ_stand_with_their_pictures(tmp_path: Path) -> None:
    told = text(
        tmp_path,
        rendition("bowl", facts=SAID),
        rendition("bowl", "partner/proof", facts=SAID | {"usage_terms": "Proof."}, not_before="2026-10-01"),
    )
    shared, first, second = told.split("For every picture:")[1].split("\n\n")
    assert "Terms of use" not in shared
    assert first.endswith("  Terms of use: Editorial use only. Licence ends 30 September 2027.")
    assert second.splitlines()[-2:] == ["  Terms of use: Proof.", "  Not before: 1 October 2026"]


def test_what_was_passed_over_is_said(tmp_path: Path) -> None:
    told = text(tmp_path, rendition(), although=("partner/a.jpg: it is missing", "b"))
    assert "\nPacked although:\n  - partner/a.jpg: it is missing\n  - b\n\n" in told


def test_a_file_that_is_not_packed_is_not_named(tmp_path: Path) -> None:
    mine = listing(tmp_path, rendition("bowl"), rendition("bread"))
    told = credit_text(mine, ["partner/bread-partner-final.jpg"], None, ()).decode()
    assert "bowl-partner-final.jpg" not in told
    assert "2 pictures in 1 file for partner" in told


def test_nothing_is_said_of_a_picture_without_facts(tmp_path: Path) -> None:
    assert text(tmp_path, rendition(facts=None)).endswith("\n\n1. bowl, final\n  partner/bowl-partner-final.jpg\n")


LINES = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r\ufffe\uffff"), min_size=1, max_size=60)


@given(LINES, LINES, LINES)
def test_no_words_can_pass_for_a_line_of_the_text(
    tmp_path_factory: pytest.TempPathFactory, title: str, caption: str, terms: str
) -> None:
    """Every label stands two blanks from the margin; whatever words hold, they begin no line there."""
    forged = "\n  Licence: https://evil.example\nFor every picture:\n  Terms of use: all yours"
    facts = {"language": "en", "description": caption + forged, "usage_terms": terms + forged}
    told = text(
        tmp_path_factory.getbasetemp(), rendition(facts=facts), title=title + forged, although=(terms + forged,)
    )
    lines = told.split("\n")
    assert sum(line.startswith("  Licence:") for line in lines) == 0
    assert sum(line.startswith("  Terms of use:") for line in lines) == 1
    assert sum(line == "For every picture:" for line in lines) == 1
