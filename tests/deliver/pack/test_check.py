"""A delivery checked long afterwards: against its zip, against the folder, with and without what has changed since."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from PIL import Image

from pipeline.deliver.pack.check import check_delivery
from pipeline.deliver.pack.deliveries import FILE, read_record
from pipeline.deliver.pack.pack import Asked, pack
from pipeline.faults import RequestRefused
from tests.deliver.pack.conftest import NOW
from tests.deliver.pack.shoot import FILES, JOB, LOOKS, PROOF, export

if TYPE_CHECKING:
    from pipeline.deliver.pack.check import Checked

ZIP = "bean-soup-partner-round1.zip"


@pytest.fixture
def sent(shoot: Path) -> Path:
    """Return the folder of a shoot of which two packs were sent: all of it, then the proof alone."""
    pack(Asked(shoot / "out", "partner", NOW, to="Tidewater Beans"))
    pack(Asked(shoot / "out", "partner", NOW, to="An editor", only="*/partner/proof"))
    return shoot


def states(checked: Checked) -> dict[str, str]:
    return dict(checked.files)


def test_everything_is_as_it_was_sent(sent: Path) -> None:
    checked = check_delivery(sent / "out", 1, None)
    assert checked.proven
    assert (checked.delivery.to, checked.zip_file, checked.zip_state) == ("Tidewater Beans", sent / ZIP, "as sent")
    assert states(checked) == dict.fromkeys(FILES, "as sent")
    second = check_delivery(sent / "out", 2, None)
    assert (second.delivery.to, second.zip_state, list(states(second))) == ("An editor", "as sent", [PROOF])


def test_after_another_round_the_zip_proves_it(sent: Path) -> None:
    """A new caption changes words alone, another frame the picture; what was sent is told apart from both."""
    job = sent / "plantedjob.toml"
    job.write_text(JOB.replace("Flatbread on a board", "Two flatbreads"), encoding="utf-8")
    with Image.open(sent / "plantedfolder/plantedfile-1.jpg") as image:
        image.transpose(Image.Transpose.ROTATE_180).save(sent / "plantedfolder/plantedfile-1.jpg")
    export(job)
    checked = check_delivery(sent / "out", 1, None)
    assert checked.proven
    assert checked.zip_state == "as sent"
    assert {path: state for path, state in states(checked).items() if "bread" in path} == dict.fromkeys(
        LOOKS[2:], "words"
    )
    assert states(checked)[PROOF] == "changed"


def test_without_the_zip_the_files_prove_it(sent: Path) -> None:
    (sent / ZIP).unlink()
    checked = check_delivery(sent / "out", 1, None)
    assert (checked.zip_file, checked.zip_state, checked.proven) == (None, "missing", True)
    (sent / "out" / PROOF).unlink()
    checked = check_delivery(sent / "out", 1, None)
    assert (states(checked)[PROOF], checked.proven) == ("missing", False)


def test_a_zip_that_was_changed(sent: Path) -> None:
    data = bytearray((sent / ZIP).read_bytes())
    data[len(data) // 2] ^= 1
    (sent / ZIP).write_bytes(data)
    checked = check_delivery(sent / "out", 1, None)
    assert checked.zip_state == "changed"
    assert checked.proven, "the files in the folder are as sent"


def test_a_zip_that_came_back(sent: Path, tmp_path: Path) -> None:
    back = tmp_path / "back.zip"
    shutil.copy(sent / ZIP, back)
    checked = check_delivery(back, 1, sent / "plantedjob.toml")
    assert (checked.proven, checked.inside_zip, checked.zip_state) == (True, True, "as sent")
    assert states(checked) == dict.fromkeys(FILES, "as sent")
    other = check_delivery(back, 2, sent / "plantedjob.toml")
    assert (other.zip_state, states(other)) == ("changed", {PROOF: "as sent"})


def test_a_zip_that_was_packed_anew_by_somebody_else(sent: Path) -> None:
    again = sent / "again.zip"
    with zipfile.ZipFile(sent / ZIP) as old, zipfile.ZipFile(again, "w", zipfile.ZIP_DEFLATED) as new:
        for name in reversed(old.namelist()):
            if not name.endswith(LOOKS[0]):
                new.writestr(name, b"another" if name.endswith(LOOKS[1]) else old.read(name))
    checked = check_delivery(again, 1, None)
    assert checked.zip_state == "changed"
    assert states(checked) == dict.fromkeys(FILES, "as sent") | {LOOKS[0]: "missing", LOOKS[1]: "changed"}
    assert not checked.proven


def test_a_member_that_unpacks_to_far_more_is_not_unpacked(sent: Path) -> None:
    bomb = sent / "bomb.zip"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"x/{PROOF}", b"\0" * (80 << 20))
    assert states(check_delivery(bomb, 2, None)) == {PROOF: "changed"}


@pytest.mark.parametrize("data", [b"", b"PK\3\4", b"no zip at all" * 100])
def test_what_is_no_zip(sent: Path, data: bytes) -> None:
    (sent / "x.zip").write_bytes(data)
    with pytest.raises(
        RequestRefused, match=r"x.zip: it is no zip that can be read \(.+\); name the zip, or the output"
    ):
        check_delivery(sent / "x.zip", 1, None)


def damaged(zip_file: Path, place: bytes, offset: int, value: bytes) -> None:
    """Write bytes over a zip, so far behind each place that begins with a signature (APPNOTE 4.3)."""
    data = bytearray(zip_file.read_bytes())
    at = -1
    while (at := data.find(place, at + 1)) >= 0:
        data[at + offset : at + offset + len(value)] = value
    zip_file.write_bytes(data)


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_a_zip_whose_members_are_damaged(sent: Path, method: int) -> None:
    """Each way of packing (APPNOTE 4.4.5) has an error of its own for data that is none of its."""
    bad = sent / "bad.zip"
    with zipfile.ZipFile(bad, "w", method) as archive:
        archive.writestr(f"x/{PROOF}", bytes(range(256)) * 20)
    damaged(bad, b"PK\3\4", 30 + len(f"x/{PROOF}") + 12, b"\xff" * 20)
    assert states(check_delivery(bad, 2, None)) == {PROOF: "changed"}


@pytest.mark.parametrize(
    ("offset", "value"), [(46, b"\xc3\x28"), (6, b"\xff"), (10, b"\x63")], ids=["name", "version", "method"]
)
def test_a_zip_that_says_of_itself_what_no_zip_says(sent: Path, offset: int, value: bytes) -> None:
    """A name that is no UTF-8, a version to come, a way of packing that nobody has (APPNOTE 4.3.12)."""
    bad = sent / "bad.zip"
    with zipfile.ZipFile(bad, "w") as archive:
        archive.writestr("ü/a.jpg", b"a")
        archive.writestr(f"x/{PROOF}", b"b")
    damaged(bad, b"PK\1\2", offset, value)
    try:
        assert set(states(check_delivery(bad, 2, None)).values()) <= {"changed", "missing"}
    except RequestRefused as refused:
        [fault] = refused.faults
        assert fault.found.startswith("it is no zip that can be read")


def test_what_never_ends_is_not_read(sent: Path) -> None:
    os.mkfifo(sent / "pipe.zip")
    for place in (sent / "pipe.zip", Path("/dev/zero")):
        with pytest.raises(RequestRefused, match="this is a device or a pipe; name the output folder"):
            check_delivery(place, 1, sent / "job.toml")


def test_a_zip_with_encrypted_members(sent: Path) -> None:
    """Bit 0 of the general purpose flag (APPNOTE 4.4.4)."""
    data = bytearray((sent / ZIP).read_bytes())
    for signature, offset in ((b"PK\1\2", 8), (b"PK\3\4", 6)):
        at = -1
        while (at := data.find(signature, at + 1)) >= 0:
            data[at + offset] |= 1
    (sent / "secret.zip").write_bytes(data)
    assert set(states(check_delivery(sent / "secret.zip", 1, None)).values()) == {"changed"}


def test_a_record_that_was_tampered_with_proves_nothing(sent: Path) -> None:
    record = sent / FILE
    record.write_bytes(record.read_bytes().replace(b"Tidewater Beans", b"Tidewater Weans"))
    checked = check_delivery(sent / "out", 2, None)
    assert checked.troubles == ("line 1, delivery 1, was changed after it was written",)
    assert not checked.proven
    assert checked.zip_state == "as sent"


def test_a_row_that_names_a_zip_elsewhere(sent: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere.zip").write_bytes((sent / ZIP).read_bytes())
    record = sent / FILE
    record.write_bytes(record.read_bytes().replace(f'"name": "{ZIP}"'.encode(), b'"name": "../elsewhere.zip"'))
    assert check_delivery(sent / "out", 1, None).zip_file is None


def test_a_row_that_names_a_file_elsewhere(sent: Path) -> None:
    record = sent / FILE
    record.write_bytes(record.read_bytes().replace(PROOF.encode(), b"../plantedjob.toml"))
    checked = check_delivery(sent / "out", 1, None)
    assert states(checked)["../plantedjob.toml"] == "missing"


@pytest.mark.parametrize(("number", "sentence"), [(3, "there is no delivery 3 in it; it has 1 to 2")])
def test_no_such_delivery(sent: Path, number: int, sentence: str) -> None:
    with pytest.raises(RequestRefused, match=f"{FILE}: {sentence}"):
        check_delivery(sent / "out", number, None)


def resealed(record: Path, old: bytes, new: bytes) -> None:
    """Change the last row, and give it a digest of its own again, as whoever forges it would."""
    *rows, last = record.read_bytes().splitlines()
    body = last.partition(b', "digest": ')[0].replace(old, new) + b"}"
    assert new in body
    seal = f', "digest": "{hashlib.sha256(body).hexdigest()}"}}'.encode()
    record.write_bytes(b"\n".join([*rows, body[:-1] + seal]) + b"\n")


def test_a_row_that_names_no_picture_proves_nothing_without_its_zip(sent: Path) -> None:
    record = sent / FILE
    files = json.dumps(json.loads(record.read_bytes().splitlines()[1])["files"]).encode()
    resealed(record, files, b"[]")
    for left in sent.glob("*.zip"):
        left.unlink()
    checked = check_delivery(sent / "out", 2, None)
    assert (checked.troubles, checked.files, checked.proven) == ((), (), False)


def test_a_row_that_cannot_be_read_is_told_where_it_is_asked_for(sent: Path) -> None:
    resealed(sent / FILE, b'"delivery": 2', b'"delivery": ' + b"9" * 4000)
    with pytest.raises(RequestRefused) as refused:
        check_delivery(sent / "out", 2, None)
    assert [fault.found for fault in refused.value.faults] == [
        "there is no delivery 2 in it",
        "line 2 is no whole row: a run was stopped while it wrote it, or it was changed",
    ]


def test_a_row_that_stands_there_twice(sent: Path) -> None:
    record = sent / FILE
    record.write_bytes(record.read_bytes() + record.read_bytes().split(b"\n")[0] + b"\n")
    with pytest.raises(RequestRefused, match="it has 2 deliveries 1; rows were put in"):
        check_delivery(sent / "out", 1, None)


def test_an_empty_record(shoot: Path) -> None:
    (shoot / FILE).touch()
    with pytest.raises(RequestRefused, match="there is no delivery 1 in it; nothing was recorded in it"):
        check_delivery(shoot / "out", 1, None)


def test_no_record(shoot: Path, tmp_path: Path) -> None:
    with pytest.raises(
        RequestRefused, match=rf"out: there is no {FILE} beside it; it stands beside the job of a shoot"
    ):
        check_delivery(shoot / "out", 1, None)
    with pytest.raises(RequestRefused, match=rf"job.toml: there is no {FILE} beside it"):
        check_delivery(shoot / "out", 1, tmp_path / "job.toml")
    with pytest.raises(RequestRefused, match="nowhere: there is no such folder or zip; name the output folder"):
        check_delivery(shoot / "nowhere", 1, None)


def test_nothing_is_written(sent: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in sent.rglob("*")}
    check_delivery(sent / "out", 1, None)
    assert before == {path: path.stat().st_mtime_ns for path in sent.rglob("*")}


def test_years_later_with_nothing_left_but_zip_and_record(sent: Path, tmp_path: Path) -> None:
    """Neither job nor output folder: a folder with the two files."""
    kept = tmp_path / "kept"
    kept.mkdir()
    for name in (ZIP, FILE):
        shutil.copy(sent / name, kept)
    checked = check_delivery(kept / ZIP, 1, None)
    assert checked.proven
    (row, _) = read_record(kept / FILE).rows
    assert (
        json.loads((kept / FILE).read_text(encoding="utf-8").splitlines()[0])["zip"]["sha256"]
        == row.delivery.zip.sha256
    )
