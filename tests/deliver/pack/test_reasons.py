from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.pack.reasons import reasons, recorded
from pipeline.deliver.verify.findings import Finding, Report
from pipeline.faults import Fault
from tests.deliver.pack.listings import listing, rendition

if TYPE_CHECKING:
    from pathlib import Path

NOW = datetime(2026, 11, 25, 14, 30, tzinfo=UTC)
FILE = "partner/bowl-partner-final.jpg"


def found(folder: Path, *findings: Finding, absent: tuple[str, ...] = (), **more: Any) -> tuple[list[str], list[str]]:  # noqa: ANN401
    """Return the reasons that may be passed over, and those that may not."""
    report = Report(1, (FILE,), findings, (), "")
    all_of_them = reasons(listing(folder, rendition(**more)), report, absent, NOW)
    return [str(fault) for fault in all_of_them.open], [str(fault) for fault in all_of_them.final]


def test_none(tmp_path: Path) -> None:
    assert found(tmp_path) == ([], [])


@pytest.mark.parametrize(
    "kind", ["format", "size", "pixels", "profile", "stripped", "field", "stale", "foreign", "rewritten"]
)
def test_a_picture_that_is_not_as_delivered(tmp_path: Path, kind: Any) -> None:  # noqa: ANN401 (a kind of finding)
    finding = Finding(kind, FILE, "it has changed", "use the delivered file", where="alt text in XMP")
    assert found(tmp_path, finding) == ([f"{FILE}: alt text in XMP: it has changed; use the delivered file"], [])


@pytest.mark.parametrize("kind", ["private", "unreadable"])
def test_what_may_never_be_passed_over(tmp_path: Path, kind: Any) -> None:  # noqa: ANN401 (as above)
    finding = Finding(kind, FILE, "it holds a GPS position", "do not pass it on")
    assert found(tmp_path, finding) == ([], [f"{FILE}: it holds a GPS position; do not pass it on"])


def test_private_data_in_the_contact_sheet(tmp_path: Path) -> None:
    finding = Finding("private", "sheet/for-partner/whole/bowl.jpg", "it holds a GPS position", "export again")
    assert len(found(tmp_path, finding)[1]) == 1


@pytest.mark.parametrize("finding", [
    Finding("extra", "partner/notes.txt", "it is an extra file", "take it out"),
    Finding("renamed", "partner/other.jpg", "it was renamed", "it was delivered as x"),
    Finding("missing", "partner/bread.jpg", "it is missing", "export again"),
    Finding("pixels", "partner/bread.jpg", "it has changed", "use the delivered file"),
], ids=lambda finding: finding.kind)  # fmt: skip
def test_what_is_not_sent_does_not_matter(tmp_path: Path, finding: Finding) -> None:
    assert found(tmp_path, finding) == ([], [])


def test_a_picture_that_is_missing_is_said_once(tmp_path: Path) -> None:
    finding = Finding("missing", FILE, "it is missing", "export again, or ask for it back")
    assert found(tmp_path, finding, absent=(FILE,)) == ([f"{FILE}: it is missing; export again"], [])


def test_an_approval_is_missing(tmp_path: Path) -> None:
    assert found(tmp_path, needs_approval=True)[0] == [
        (
            "bowl/partner/final: it must be approved first, and is not; take in a reply that approves it with "
            "`plateline reply`, then export"
        )
    ]
    said = {"reviewer": "B. Örn", "date": "2026-11-01", "round": "0" * 64}
    assert found(tmp_path, needs_approval=True, approvals=[said]) == ([], [])


def test_its_day_has_not_come(tmp_path: Path) -> None:
    assert found(tmp_path, not_before="2026-11-26")[0] == [
        (
            "bowl/partner/final: it may not be published before 26 November 2026, which has not come; "
            "wait, or give that day in the job to the targets it is meant for, and no others"
        )
    ]
    assert found(tmp_path, not_before="2026-11-25") == ([], [])
    assert len(found(tmp_path, not_before="2026-11-25T15:30:01+01:00")[0]) == 1
    assert found(tmp_path, not_before="2026-11-25T15:30:00+01:00") == ([], [])


def test_its_licence_has_ended(tmp_path: Path) -> None:
    assert found(tmp_path, licence_ends="2026-11-24")[0] == [
        "bowl/partner/final: its licence ended 24 November 2026; renew it in the job, then export"
    ]
    assert found(tmp_path, licence_ends="2026-11-25") == ([], [])


def test_every_reason_at_once(tmp_path: Path) -> None:
    finding = Finding("pixels", FILE, "it has changed", "use the delivered file")
    told, _ = found(tmp_path, finding, needs_approval=True, not_before="2027-01-01", licence_ends="2026-01-01")
    assert len(told) == 4


def test_what_is_recorded_is_what_was_found_and_no_advice() -> None:
    assert (
        recorded(Fault("a.jpg", "it differs", "export again", "alt text in XMP"))
        == "a.jpg: alt text in XMP: it differs"
    )
