"""One outlet's part of a delivery, judged alone."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import pytest

import pipeline.deliver.verify.verify
from pipeline.deliver.verify.verify import verify
from pipeline.faults import RequestRefused
from tests.deliver.verify.delivery import FILES

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.verify.findings import Report
    from tests.deliver.verify.conftest import Edit

PROOF = "partner/soup-bowl-proof-540.jpg"


@pytest.fixture(autouse=True)
def our_own_readers_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipeline.deliver.verify.verify, "consult", lambda *_: ("", []))


def found(report: Report) -> list[tuple[str, str]]:
    return [(finding.kind, finding.file) for finding in report.findings]


@pytest.mark.parametrize("outlet", ["blog", "print", "partner"])
def test_its_files_and_no_others(delivery: Path, outlet: str) -> None:
    report = verify(delivery, outlet=outlet)
    mine = [path for path in FILES if path.startswith(f"{outlet}/")]
    assert sorted(report.files) == mine
    assert (report.delivered, report.findings) == (len(mine), ())


def test_what_is_wrong_elsewhere_is_not_told(out: Path) -> None:
    for path in FILES:
        if not path.startswith("partner/"):
            (out / path).unlink()
    (out / "blog" / "notes.txt").write_text("not ours", encoding="utf-8")
    (out / "blog" / "link.jpg").symlink_to(out / PROOF)
    assert found(verify(out, outlet="partner")) == []
    assert ("missing", FILES[0]) in found(verify(out, outlet="blog"))


def test_what_is_wrong_with_its_own_is_told(out: Path) -> None:
    (out / PROOF).unlink()
    (out / "partner" / "notes.txt").write_text("not ours", encoding="utf-8")
    (out / "partner" / "link.jpg").symlink_to(out / FILES[0])
    assert sorted(found(verify(out, outlet="partner"))) == [
        ("extra", "partner/link.jpg"),
        ("extra", "partner/notes.txt"),
        ("missing", PROOF),
    ]


def test_its_folder_alone_came_back(out: Path, tmp_path: Path) -> None:
    """The others are not missed, and what was not delivered is told wherever it lies."""
    back = tmp_path / "back"
    back.mkdir()
    shutil.copy(out / PROOF, back / "proof.jpg")
    (back / "notes.txt").write_text("thanks", encoding="utf-8")
    report = verify(back, out / "manifest.json", "partner")
    assert found(report) == [("renamed", "proof.jpg"), ("extra", "notes.txt")]


def test_private_data_in_its_own_contact_sheet_alone(out: Path, edit: Edit) -> None:
    for place in ("previews", "for-partner"):
        (out / "sheet" / place).mkdir(parents=True, exist_ok=True)
        shutil.copy(out / PROOF, out / "sheet" / place / "look.jpg")
        edit(out / "sheet" / place / "look.jpg", "-GPSLatitude=45.1", "-GPSLatitudeRef=N")
    assert found(verify(out, outlet="partner")) == [("private", "sheet/for-partner/look.jpg")]


def test_an_outlet_that_is_not_there(out: Path) -> None:
    with pytest.raises(RequestRefused) as caught:
        verify(out, outlet="partnr")
    assert str(caught.value) == (
        f"{out}/manifest.json: no file in it is for 'partnr'; its outlets are blog, print, partner; "
        "did you mean 'partner'?"
    )


def test_a_manifest_without_files(out: Path) -> None:
    manifest = out / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    document["renditions"] = []
    manifest.write_text(json.dumps(document), encoding="utf-8")
    with pytest.raises(RequestRefused, match="no file in it is for 'blog'; it lists no file at all: export first"):
        verify(out, outlet="blog")
