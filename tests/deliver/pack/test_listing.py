from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.deliver.pack.listing import read_listing
from pipeline.faults import RequestRefused
from tests.deliver.pack.listings import listing, manifest, rendition

if TYPE_CHECKING:
    from pathlib import Path


def refused(folder: Path, *renditions: dict[str, Any], outlet: str = "partner", only: str | None = None) -> str:
    (folder / "manifest.json").write_text(json.dumps(manifest(*renditions)), encoding="utf-8")
    with pytest.raises(RequestRefused) as caught:
        read_listing(folder, outlet, only)
    return str(caught.value).removeprefix(f"{folder}/")


def test_an_outlets_part_in_the_order_of_the_manifest(tmp_path: Path) -> None:
    mine = listing(tmp_path, rendition("b"), rendition("a", "blog/hero"), rendition("a", "partner/proof"))
    assert [one.name for one in mine.renditions] == ["b/partner/final", "a/partner/proof"]
    assert mine.chosen == mine.renditions
    assert (mine.job, mine.title, mine.slug, mine.date) == ("job.toml", "Bean soup", "bean-soup", "2026-09-12")


def test_only_some_of_it(tmp_path: Path) -> None:
    mine = listing(tmp_path, rendition("a"), rendition("b"), rendition("a", "partner/proof"), only="a/*/final")
    assert [one.name for one in mine.chosen] == ["a/partner/final"]
    assert len(mine.renditions) == 3


def test_what_waits_for_approval_is_named_and_not_chosen(tmp_path: Path) -> None:
    waiting = rendition("a", needs_approval=True, files=[])
    said = {"reviewer": "B. Örn", "date": "2026-11-01", "round": "0" * 64}
    approved = rendition("b", needs_approval=True, approvals=[said])
    mine = listing(tmp_path, waiting, approved, rendition("c", refused="too small", files=[]))
    assert mine.waiting == ("a/partner/final",)
    assert [one.name for one in mine.chosen] == ["b/partner/final"]
    assert [one.waits for one in mine.renditions] == [True, False, False]


def test_nothing_but_what_waits(tmp_path: Path) -> None:
    waiting = [rendition(name, needs_approval=True, files=[]) for name in "abcde"]
    assert refused(tmp_path, *waiting) == (
        "manifest.json: a/partner/final, b/partner/final, c/partner/final and 2 more must be approved first, "
        "and nothing else was asked for; take in a reply with `plateline reply`, then export"
    )


def test_nothing_made(tmp_path: Path) -> None:
    assert refused(tmp_path, rendition(refused="too small", files=[])) == (
        "manifest.json: no file of what was asked for is made; export first; `plateline plan` says what is refused"
    )


def test_no_such_outlet(tmp_path: Path) -> None:
    assert refused(tmp_path, rendition(), rendition("a", "blog/hero"), outlet="partnr") == (
        "manifest.json: it lists nothing for 'partnr'; its outlets are partner, blog; did you mean 'partner'?"
    )


def test_a_pattern_that_matches_nothing(tmp_path: Path) -> None:
    assert refused(tmp_path, rendition(), only="bowl/partner/finals") == (
        "--only: nothing for 'partner' matches 'bowl/partner/finals'; it is matched against names such as "
        "bowl/partner/final; did you mean 'bowl/partner/final'?"
    )


def test_no_manifest(tmp_path: Path) -> None:
    with pytest.raises(
        RequestRefused, match=r"manifest.json: there is no such manifest; name the folder that an export"
    ):
        read_listing(tmp_path, "partner", None)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (b"", "it is no sound JSON"),
        (b'{"manifest": 3', "it is no sound JSON"),
        (b"[]", "it is no manifest"),
        (b'{"manifest": 2}', "it was written by an earlier plateline and lacks what a pack needs; run export again"),
        (b'{"manifest": 4}', "it is a manifest of format 4; this plateline reads 2 to 3; use a newer plateline"),
        (b'{"manifest": 3}', "job: field required"),
    ],
)
def test_a_broken_manifest(tmp_path: Path, text: bytes, sentence: str) -> None:
    (tmp_path / "manifest.json").write_bytes(text)
    with pytest.raises(RequestRefused) as caught:
        read_listing(tmp_path, "partner", None)
    assert sentence in str(caught.value)


@pytest.mark.parametrize(
    "change",
    [
        {"frame": "../bowl"},
        {"frame": "Bowl"},
        {"frame": "a\nb"},
        {"target": "partner"},
        {"target": "partner/../../x"},
        {"not_before": "soon"},
        {"licence_ends": "x" * 100},
        {"approvals": [{"reviewer": 1}]},
    ],
)
def test_a_rendition_that_no_export_wrote(tmp_path: Path, change: dict[str, Any]) -> None:
    assert refused(tmp_path, rendition() | change).startswith("manifest.json: renditions[0].")


@pytest.mark.parametrize("change", [{"slug": "../x"}, {"slug": ""}, {"job": "a/b.toml"}, {"job": "a\0"}, {"date": "x"}])
def test_a_shoot_that_no_export_wrote(tmp_path: Path, change: dict[str, Any]) -> None:
    (tmp_path / "manifest.json").write_text(json.dumps(manifest() | change), encoding="utf-8")
    with pytest.raises(RequestRefused, match=rf"manifest.json: {next(iter(change))}: "):
        read_listing(tmp_path, "partner", None)
