"""From the first proofs to the approved finals, each sent and recorded, through the command."""

from __future__ import annotations

import json
import re
import zipfile
from typing import TYPE_CHECKING, Any

import pipeline.cli
from pipeline.cli import main
from pipeline.deliver.pack.deliveries import read_record
from tests.deliver.pack.conftest import NOW
from tests.deliver.pack.shoot import JOB, make_shoot

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

WAITS = JOB.replace('about = "To look at"', 'about = "To look at"\nneeds = "approval"')


def reply(shoot: Path, reviewer: str, verdicts: dict[str, str]) -> Path:
    """Write what a reviewer of the partner's sheet would save: a verdict for each frame, the others open."""
    page = (shoot / "out/sheet/for-partner/index.html").read_text(encoding="utf-8")
    block = re.search(r'<script[^>]*type="application/json"[^>]*>(.*?)</script>', page, re.DOTALL)
    assert block
    data: dict[str, Any] = json.loads(block[1])
    frames = [
        {
            "frame": one["frame"],
            "verdict": verdicts.get(one["frame"]),
            "note": "",
            "spots": [],
            "renditions": [
                {"rendition": own["rendition"], "key": own["key"], "verdict": None, "note": "", "spots": []}
                for own in one["renditions"]
            ],
        }
        for one in data["frames"]
    ]
    path = shoot / f"reply-{reviewer}.json"
    document = {"plateline_reply": 1, "round": data["round"], "shoot": data["shoot"], "outlet": "partner"}
    path.write_text(json.dumps({**document, "reviewer": reviewer, "date": "2026-11-20", "frames": frames}))
    return path


def run(*words: object) -> int:
    return main([str(word) for word in words])


def export(job: Path) -> None:
    assert run("export", job, "--quiet", "--workers", 1) == 0
    assert run("sheet", job, "--for", "partner", "--quiet", "--workers", 1) == 0


def test_proofs_then_finals(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(pipeline.cli, "_now", lambda: NOW)
    job = make_shoot(tmp_path, WAITS)
    out, words = tmp_path / "out", ("pack", tmp_path / "out", "--outlet", "partner", "--to", "Tidewater Beans")
    assert run(*words) == 0
    assert "waits for approval, so not in it: bowl/partner/look, bread/partner/look" in capsys.readouterr().out
    assert run(*words, "--only", "*/look") == 2
    assert "bowl/partner/look, bread/partner/look must be approved first" in capsys.readouterr().err

    assert run("reply", job, reply(tmp_path, "Brida", {"bowl": "approve", "bread": "change"})) == 0
    export(job)
    assert run(*words, "--only", "bowl/*") == 0
    assert run("verify", out, "--delivery", 2) == 0
    told = capsys.readouterr().out
    assert "approved: bowl/partner/look, by Brida, 2026-11-20" in told
    one, two = read_record(tmp_path / "deliveries.jsonl").rows
    assert one.delivery.verdicts == ()
    assert {said.rendition for said in two.delivery.verdicts} == {"bowl/partner/look", "bowl/partner/proof"}
    with zipfile.ZipFile(tmp_path / two.delivery.zip.name) as archive:
        names = [name.partition("/")[2] for name in archive.namelist()]
        everything = b"".join(map(archive.read, archive.namelist()))
    assert [name for name in names if "look-300" in name and name.startswith("partner/")]
    assert not [name for name in names if "bread" in name and name.startswith("partner/")]
    assert b"plantednote" not in everything

    # She asks a second person, who does not agree: what was made by then stays at home.
    assert run("reply", job, reply(tmp_path, "Second", {"bowl": "change"})) == 0
    export(job)
    assert run(*words, "--only", "bowl/partner/look") == 2
    assert "bowl/partner/look must be approved first" in capsys.readouterr().err
    assert run("verify", out, "--delivery", 2) == 0
