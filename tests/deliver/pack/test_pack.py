"""A pack of a real delivery: what is in it, that nothing else is, when there is none, and that it is the same again."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image

import pipeline.deliver.pack.pack
from pipeline.deliver.pack.deliveries import read_record
from pipeline.deliver.pack.pack import Asked, Packed, pack
from pipeline.deliver.verify.verify import verify
from pipeline.faults import RequestRefused
from tests.deliver.pack.conftest import NOW
from tests.deliver.pack.shoot import FILES, JOB, LOOKS, PRIVATE, PROOF, export, make_shoot
from tests.exiftool import exiftool_says

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.deliver.verify.findings import Report

ROUND = "bean-soup-partner-round1"


def packed(shoot: Path, **more: Any) -> Packed:  # noqa: ANN401 (what else is asked)
    return pack(Asked(shoot / "out", "partner", NOW, **more))


def refused(shoot: Path, **more: Any) -> list[str]:  # noqa: ANN401 (as above)
    """Return the sentences of a pack that is refused, and see that nothing was written."""
    before = {path: path.stat().st_mtime_ns for path in shoot.rglob("*")}
    with pytest.raises(RequestRefused) as caught:
        packed(shoot, **more)
    assert before == {path: path.stat().st_mtime_ns for path in shoot.rglob("*")}
    return str(caught.value).splitlines()


def content(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def edit_manifest(shoot: Path, target: str, **changes: Any) -> None:  # noqa: ANN401 (values of a rendition)
    manifest = shoot / "out" / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    for one in document["renditions"]:
        if one["target"] == target:
            one.update(changes)
    manifest.write_text(json.dumps(document), encoding="utf-8")


def test_everything_for_the_partner_and_only_that(shoot: Path) -> None:
    came = packed(shoot)
    assert came.path == shoot / f"{ROUND}.zip"
    names = [name.removeprefix(f"{ROUND}/") for name in content(came.path)]
    assert names[:4] == ["SHA256SUMS", "credit-and-terms.txt", "manifest.json", "sheet/for-partner/index.html"]
    assert sorted(name for name in names if name.startswith("partner/")) == list(FILES)
    assert {name.split("/")[0] for name in names[3:]} == {"sheet", "partner"}
    assert all(name.startswith("sheet/for-partner/") for name in names if name.startswith("sheet/"))
    assert (came.pictures, came.files, came.round_number, came.overridden, came.left_out) == (3, 5, 1, (), ())
    assert came.recorded is None
    assert not (shoot / "deliveries.jsonl").exists()


def test_every_byte_of_a_picture_is_the_delivered_one(shoot: Path) -> None:
    inside = content(packed(shoot).path)
    for name in FILES:
        assert inside[f"{ROUND}/{name}"] == (shoot / "out" / name).read_bytes()


def test_no_private_word_is_in_it(shoot: Path) -> None:
    """Also not in names, and not in the bytes of the zip itself."""
    private = [word.encode() for word in (*PRIVATE, str(shoot), "plantedfile-1")]
    data = packed(shoot, to="Somebody").path.read_bytes().lower()
    assert [word for word in private if word in data] == []
    hers = b"".join(path.read_bytes() for path in (shoot / "out").rglob("*.json")).lower()
    assert [
        word for word in (b"plantedfile", b"plantedfolder", b"plantedjob", b"plantedblog") if word not in hers
    ] == []


def test_unpacked_it_verifies_and_sha256sum_agrees(shoot: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(packed(shoot).path) as archive:
        archive.extractall(tmp_path / "theirs")
    theirs = tmp_path / "theirs" / ROUND
    report = verify(theirs)
    assert (report.findings, sorted(report.files)) == ((), list(FILES))
    if shutil.which("sha256sum") is None:
        pytest.skip("judge missing: sha256sum")
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "SHA256SUMS"], cwd=theirs, capture_output=True, text=True, check=True
    )
    files = {path.relative_to(theirs).as_posix() for path in theirs.rglob("*") if path.is_file()} - {"SHA256SUMS"}
    assert {line.removesuffix(": OK") for line in done.stdout.splitlines()} == files


def test_every_link_of_the_sheet_leads_somewhere(shoot: Path, tmp_path: Path) -> None:
    """The oracle is html5lib with the file system."""
    html5lib = pytest.importorskip("html5lib", reason="judge missing: html5lib")
    with zipfile.ZipFile(packed(shoot).path) as archive:
        archive.extractall(tmp_path / "theirs")
    page = tmp_path / "theirs" / ROUND / "sheet" / "for-partner" / "index.html"
    tree = html5lib.parse(page.read_text(encoding="utf-8"), namespaceHTMLElements=False)
    links = {value for element in tree.iter() for name, value in element.attrib.items() if name in {"src", "href"}}
    local = {link for link in links if not link.startswith(("#", "http", "mailto:", "data:"))}
    assert len(local) >= 5
    assert [link for link in local if not (page.parent / link).is_file()] == []


def test_the_same_folder_gives_the_same_zip(shoot: Path, tmp_path: Path) -> None:
    """Copied, with other times and permissions, in another zone and language, to another person."""
    first = packed(shoot).path.read_bytes()
    other = Path(shutil.copytree(shoot / "out", tmp_path / "elsewhere" / "other"))
    for number, path in enumerate(sorted(other.rglob("*"))):
        os.utime(path, (number, number))
        path.chmod(0o700 if path.is_dir() else 0o600)
    (tmp_path / "elsewhere" / "plantedjob.toml").touch()
    words = [sys.executable, "-m", "pipeline", "pack", str(other), "--outlet", "partner", "--to", "Another", "--quiet"]
    elsewhere = {**os.environ, "TZ": "America/St_Johns", "LC_ALL": "C", "PYTHONHASHSEED": "11"}
    subprocess.run(words, env=elsewhere, check=True, umask=0o077)
    assert first == (tmp_path / "elsewhere" / f"{ROUND}.zip").read_bytes()


def test_packed_again_nothing_is_written(shoot: Path) -> None:
    first = packed(shoot)
    again = packed(shoot)
    assert (first.written, again.written) == (True, False)
    assert first.sent == again.sent
    assert [path.name for path in shoot.glob("*.zip")] == [f"{ROUND}.zip"]


def test_only_some_of_it(shoot: Path) -> None:
    came = packed(shoot, only="*/partner/proof")
    inside = {name.removeprefix(f"{ROUND}/") for name in content(came.path)}
    assert {name for name in inside if name.startswith("partner/")} == {PROOF}
    assert "sheet/for-partner/index.html" in inside
    document = json.loads(content(came.path)[f"{ROUND}/manifest.json"])
    assert [one["target"] for one in document["renditions"]] == ["partner/proof"]
    other = packed(shoot)
    assert other.path.name == f"{ROUND}-2.zip"


def test_a_zip_of_her_own_is_not_written_over(shoot: Path) -> None:
    mine = shoot / "mine.zip"
    mine.write_bytes(b"hers")
    assert refused(shoot, zip_file=mine) == [
        f"{mine}: another file is there, of other content; name another with --zip FILE, or say --replace"
    ]
    assert packed(shoot, zip_file=mine, replace=True).path == mine
    assert zipfile.is_zipfile(mine)


@pytest.mark.parametrize(
    ("place", "sentence"),
    [
        ("out/x.zip", "it would lie in the output folder, where it was not delivered; name another with --zip FILE"),
        ("out/sheet/../x.zip", "it would lie in the output folder, where it was not delivered"),
        ("plantedfolder", "this is a folder; name a file with --zip FILE"),
        ("nowhere/x.zip", "nothing can be written there; name a file in a folder of yours with --zip FILE"),
        ("plantedjob.toml/x.zip", "nothing can be written there"),
    ],
)
def test_where_it_cannot_go(shoot: Path, place: str, sentence: str) -> None:
    (told,) = refused(shoot, zip_file=shoot / place)
    assert told.startswith(f"{shoot / place}: {sentence}")


def test_a_picture_that_was_changed(shoot: Path) -> None:
    with Image.open(shoot / "out" / LOOKS[1]) as image:
        image.convert("L").save(shoot / "out" / LOOKS[1])
    told = refused(shoot)
    assert told
    assert all(line.startswith(f"{LOOKS[1]}: ") for line in told)
    assert packed(shoot, only="bread/*").overridden == ()


def test_anyway_it_goes_as_it_is_and_says_so_inside(shoot: Path) -> None:
    with Image.open(shoot / "out" / LOOKS[1]) as image:
        image.convert("L").save(shoot / "out" / LOOKS[1])
    (shoot / "out" / LOOKS[2]).unlink()
    shutil.rmtree(shoot / "out" / "sheet" / "for-partner")
    came = packed(shoot, anyway=True, to="Tidewater Beans")
    assert came.path.name == "bean-soup-partner.zip"
    assert came.round_number is None
    assert f"{LOOKS[2]}: it is missing" in came.overridden
    assert "sheet/for-partner/index.html: it is not there" in came.overridden
    inside = content(came.path)
    assert inside[f"bean-soup-partner/{LOOKS[1]}"] == (shoot / "out" / LOOKS[1]).read_bytes()
    assert f"bean-soup-partner/{LOOKS[2]}" not in inside
    document = json.loads(inside["bean-soup-partner/manifest.json"])
    assert document["packed_although"] == list(came.overridden)
    told = inside["bean-soup-partner/credit-and-terms.txt"].decode()
    assert all(f"  - {sentence}\n" in told for sentence in came.overridden)
    (row,) = read_record(shoot / "deliveries.jsonl").rows
    assert row.delivery.overridden == came.overridden
    assert {one.path: one.picture_sha256 is None for one in row.delivery.files}[LOOKS[1]]


def test_private_data_never_goes_not_even_anyway(shoot: Path) -> None:
    for name in (PROOF, "sheet/for-partner/whole/bread.jpg"):
        exiftool_says("-q", "-overwrite_original", "-GPSLatitude=45.1", "-GPSLatitudeRef=N", shoot / "out" / name)
    told = refused(shoot, anyway=True)
    assert {line.partition(": ")[0] for line in told} == {PROOF, "sheet/for-partner/whole/bread.jpg"}
    assert all(": it holds a GPS position (Exif); " in line for line in told)


def test_a_link_in_the_place_of_a_picture_is_not_followed(shoot: Path, tmp_path: Path) -> None:
    shutil.move(shoot / "out" / PROOF, tmp_path / "elsewhere.jpg")
    (shoot / "out" / PROOF).symlink_to(tmp_path / "elsewhere.jpg")
    assert refused(shoot) == [f"{PROOF}: it is missing; export again"]
    shutil.move(shoot / "out" / "partner", tmp_path / "partner")
    (shoot / "out" / "partner").symlink_to(tmp_path / "partner")
    assert refused(shoot) == [f"{name}: it is missing; export again" for name in FILES]
    assert refused(shoot, anyway=True) == [f"{shoot}/out: none of the files that were asked for is there; export again"]


def test_what_else_lies_in_the_folder_is_left_there(shoot: Path) -> None:
    (shoot / "out" / "partner" / "invoice.pdf").write_bytes(b"private")
    assert not [name for name in content(packed(shoot).path) if name.endswith(".pdf")]


def test_every_reason_at_once(shoot: Path) -> None:
    edit_manifest(shoot, "partner/proof", needs_approval=True, not_before="2026-11-26")
    edit_manifest(shoot, "partner/look", licence_ends="2026-11-24")
    (shoot / "out" / LOOKS[0]).unlink()
    (shoot / "out" / "sheet" / "for-partner" / "index.html").unlink()
    told = refused(shoot)
    assert [line.split(";")[0] for line in told] == [
        f"{LOOKS[0]}: it is missing",
        "bowl/partner/proof: it must be approved first, and is not",
        "bowl/partner/proof: it may not be published before 26 November 2026, which has not come",
        "bowl/partner/look: its licence ended 24 November 2026",
        "bread/partner/look: its licence ended 24 November 2026",
        "sheet/for-partner/index.html: it is not there",
    ]
    assert told[-1].endswith(f"run `plateline sheet {shoot}/plantedjob.toml --for partner`, then pack")
    assert len(packed(shoot, anyway=True).overridden) == len(told)


def test_the_day_is_the_jobs_and_the_machines(shoot: Path) -> None:
    job = shoot / "plantedjob.toml"
    job.write_text(JOB.replace('language = "en"', 'language = "en"\nnot_before = 2026-11-26'), encoding="utf-8")
    export(job)
    assert len(refused(shoot)) == 3
    pack(Asked(shoot / "out", "partner", NOW.replace(day=26)))
    hers = (shoot / "out" / "manifest.json").read_text(encoding="utf-8")
    assert '"not_before": "2026-11-26"' in hers


def test_a_day_that_the_files_do_not_say_is_said_in_the_text(shoot: Path) -> None:
    """A public file does not carry the day before which it may not be published; the text beside it does."""
    edit_manifest(shoot, "partner/look", not_before="2026-10-01")
    told = content(packed(shoot).path)[f"{ROUND}/credit-and-terms.txt"].decode()
    assert told.count("  Not before: 1 October 2026") == 2


def test_it_changes_while_it_is_judged(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def then_changed(out: Path, outlet: str) -> Report:
        report = verify(out, outlet=outlet)
        (out / PROOF).write_bytes(b"another")
        return report

    monkeypatch.setattr(pipeline.deliver.pack.pack, "verify", then_changed)
    with pytest.raises(RequestRefused, match=f"^{PROOF}: it changed while it was packed; leave the folder alone"):
        packed(shoot)
    assert list(shoot.glob("*.zip")) == list(shoot.glob(".unfinished*")) == []


@pytest.mark.parametrize(
    "name", ["partner/ü.jpg", "partner/a b.jpg", "partner/a\nb.jpg", "partner/-rf.jpg", ".hidden.jpg"]
)
def test_a_name_that_not_every_system_can_unpack(shoot: Path, name: str) -> None:
    manifest = shoot / "out" / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    proof = next(one for one in document["renditions"] if one["target"] == "partner/proof")
    (shoot / "out" / PROOF).rename(shoot / "out" / name)
    proof["files"][0]["path"] = name
    manifest.write_text(json.dumps(document), encoding="utf-8")
    (told,) = refused(shoot, anyway=True)
    assert "not every system can unpack this name; give its frame a shorter slug, and export" in told


def test_a_path_that_leads_out_of_the_folder(shoot: Path) -> None:
    manifest = shoot / "out" / "manifest.json"
    manifest.write_text(manifest.read_text(encoding="utf-8").replace(PROOF, "../plantedjob.toml"), encoding="utf-8")
    (told,) = refused(shoot, anyway=True)
    assert "a path must stay inside the folder" in told


def test_hostile_words_are_words(tmp_path: Path) -> None:
    """Tags, quotes, ways out, line ends that forge a line, right-to-left, ten thousand letters, in every field."""
    forged = "\\n  Licence: https://evil.example"
    evil = f"</script><img src=x onerror=alert(1)> ../../../etc/passwd javascript:alert(1) שלום \u202e {forged}"
    text = JOB.replace('title = "Roasted', 'title = "../../<b>Roasted').replace("Editorial use only", evil)
    text = text.replace("A bowl of red soup", evil.replace(" ", "x", 1)).replace('"Hot."', f'"{"y" * 10_000}{evil}"')
    text = text.replace("Advertisement. Made with Tidewater Beans.", evil).replace('name = "Tidewater', 'name = "../')
    out = make_shoot(tmp_path, text).parent / "out"
    came = pack(Asked(out, "partner", NOW, to=evil.replace("\\n", "\n")))
    assert came.path.parent == tmp_path
    inside = content(came.path)
    assert all(name.startswith(f"{ROUND}/") and ".." not in name for name in inside)
    told = inside[f"{ROUND}/credit-and-terms.txt"].decode()
    assert sum(line.startswith("  Licence:") for line in told.splitlines()) == 1
    assert "y" * 10_000 in told
    assert b"<img src=x" not in inside[f"{ROUND}/sheet/for-partner/index.html"]
    record = read_record(tmp_path / "deliveries.jsonl")
    assert (record.troubles, len(record.rows)) == ((), 1)
    assert (tmp_path / "deliveries.jsonl").read_bytes().count(b"\n") == 1


def full(*_: object) -> Iterator[None]:
    raise OSError(28, "No space left on device")


def test_a_disk_that_is_full_leaves_nothing(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space left") as caught:
        packed(shoot, to="Somebody")
    assert caught.value.filename == str(shoot / f"{ROUND}.zip")
    assert sorted(path.name for path in shoot.iterdir()) == ["out", "plantedfolder", "plantedjob.toml"]


def test_a_row_for_whom_it_is_sent_to(shoot: Path) -> None:
    said = {"reviewer": "B. Örn", "date": "2026-11-20", "round": "a" * 64}
    edit_manifest(shoot, "partner/look", needs_approval=True, approvals=[said])
    came = packed(shoot, to="Tidewater Beans")
    again = packed(shoot, to="Tidewater Beans")
    assert came.recorded
    assert again.recorded
    row = came.recorded.delivery
    assert (row.delivery, row.date, row.to) == (1, "2026-11-25T14:30:00+00:00", "Tidewater Beans")
    assert (row.zip, row.zip.name) == (came.sent, f"{ROUND}.zip")
    assert row.round
    assert row.round.number == 1
    assert sorted(one.path for one in row.files) == list(FILES)
    assert [(one.terms, one.renditions) for one in row.licences] == [
        ("Proof for review only. All rights reserved; no licence is given with this file.", ("bowl/partner/proof",)),
        ("Editorial use only", ("bowl/partner/look", "bread/partner/look")),
    ]
    assert [(one.rendition, one.verdict, one.reviewer) for one in row.verdicts] == [
        ("bowl/partner/look", "approve", "B. Örn"),
        ("bread/partner/look", "approve", "B. Örn"),
    ]
    record = read_record(shoot / "deliveries.jsonl")
    assert (record.troubles, [one.digest for one in record.rows]) == ((), [came.recorded.digest, again.recorded.digest])


def test_the_record_stands_beside_the_job(shoot: Path, tmp_path: Path) -> None:
    elsewhere = Path(shutil.move(shoot / "out", tmp_path / "elsewhere"))
    asked = Asked(elsewhere, "partner", NOW, to="Somebody")
    with pytest.raises(RequestRefused) as caught:
        pack(asked)
    assert str(caught.value) == (
        f"{elsewhere}: there is no plantedjob.toml beside it; the record of deliveries stands beside the job: "
        "say where that is with --job plantedjob.toml"
    )
    with pytest.raises(
        RequestRefused, match=r"nowhere.toml: there is no such job file; the record of deliveries stands"
    ):
        pack(replace(asked, job=tmp_path / "nowhere.toml"))
    assert list(tmp_path.glob("*.zip")) == []
    pack(replace(asked, job=shoot / "plantedjob.toml"))
    assert (shoot / "deliveries.jsonl").is_file()
    assert (tmp_path / f"{ROUND}.zip").is_file()


def test_a_record_that_cannot_be_used_is_told_before_anything_is_written(shoot: Path) -> None:
    (shoot / "deliveries.jsonl").symlink_to(shoot / "plantedjob.toml")
    assert refused(shoot, to="Somebody") == [
        f"{shoot}/deliveries.jsonl: it is a link; put the file back as it was; nothing is ever written over in it"
    ]
