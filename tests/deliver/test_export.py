"""The export from end to end on small frames: what it makes, what it leaves alone, what it writes about it."""

from __future__ import annotations

import fcntl
import hashlib
import io
import json
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import piexif
import pytest
from PIL import Image

import pipeline.frames.pixels
import pipeline.render.budget
from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.summary import summary_lines
from pipeline.faults import RequestRefused
from pipeline.light.icc import write_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, SRGB
from pipeline.render.containers.embed import picture_data

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.plan.rendition import OutputFormat

JOB = """
profiles = ["blog", "print", "partner"]

[shoot]
title = "Roasted tomato and white bean soup"
slug = "soup"
date = 2026-09-12
language = "en"
keywords = ["soup", "tomato"]

[credit]
creator = ["Ines Falkenrath", "Jö Tàn"]
credit_line = "Ines Falkenrath / larder-and-light.example"
copyright = "© 2026 Ines Falkenrath"
licence_url = "https://larder-and-light.example/licence"
acquire_url = "https://larder-and-light.example/buy"
usage_terms = "Editorial use only"

[targets."blog/hero"]
widths = [200, 400]
formats = ["avif", "webp", "jpeg", "png"]

[targets."print/eight-by-ten"]
size_mm = [25.4, 31.75]

[[frames]]
file = "bowl.jpg"
subject = [0.4, 0.5]
keep = [0.3, 0.3, 0.6, 0.7]
alt = "A bowl of red soup — “hot”, 熱い"
caption = "The bowl <from> above"
targets = ["blog/hero", "print/eight-by-ten", "partner/proof"]

[[frames]]
file = "bread.jpg"
subject = [0.5, 0.5]
alt = "Flatbread on a board"
targets = ["blog/hero"]
"""

STALL = """
outlet = "stall"
about = "Price cards at the market"
[targets.card]
about = "A small card"
ratio = "3:2"
widths = [240]
too_small = "refuse"
keep_miss = "caution"
formats = ["jpeg"]
sharpen = { medium = "screen" }
metadata = "public"
"""

POSITION = {
    piexif.GPSIFD.GPSLatitudeRef: b"N",
    piexif.GPSIFD.GPSLatitude: ((45, 1), (7, 1), (1234, 100)),
    piexif.GPSIFD.GPSLongitudeRef: b"W",
    piexif.GPSIFD.GPSLongitude: ((30, 1), (9, 1), (4321, 100)),
}


def _photograph(path: Path, profile: bytes, tint: int) -> None:
    """Save a small picture with everything in its Exif that must not leave."""
    image = Image.linear_gradient("L").resize((600, 400))
    image = Image.merge("RGB", (image, image.point(lambda value: value * tint // 255), image.rotate(180)))
    thumbnail = io.BytesIO()
    image.resize((60, 40)).save(thumbnail, "JPEG")
    exif = {
        "0th": {piexif.ImageIFD.Make: b"Halden Optik", piexif.ImageIFD.Model: b"HO-7"},
        "Exif": {
            piexif.ExifIFD.DateTimeOriginal: b"2026:09:12 10:24:31",
            piexif.ExifIFD.OffsetTimeOriginal: b"+02:00",
            piexif.ExifIFD.BodySerialNumber: b"SERIAL-4711",
            piexif.ExifIFD.CameraOwnerName: b"Ines Privately",
            piexif.ExifIFD.MakerNote: b"MAKERNOTE-BLOB",
            piexif.ExifIFD.FNumber: (8, 1),
        },
        "GPS": POSITION,
        "1st": {piexif.ImageIFD.Compression: 6},
        "thumbnail": thumbnail.getvalue(),
    }
    image.save(path, "JPEG", quality=95, subsampling=0, exif=piexif.dump(exif), icc_profile=profile)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """Return a job of two frames, six renditions and their previews."""
    _photograph(tmp_path / "bowl.jpg", write_matrix_profile(ADOBE_RGB), 128)
    _photograph(tmp_path / "bread.jpg", write_matrix_profile(SRGB), 200)
    file = tmp_path / "job.toml"
    file.write_text(JOB, encoding="utf-8")
    return file


def run(job: Path, **changes: Any) -> Summary:  # noqa: ANN401 (the fields of Asked)
    asked: dict[str, Any] = {"workers": 1, "quiet": True, **changes}
    return export(Asked(job, job.parent / "out", **asked), io.StringIO())


def planned(summary: Summary) -> list[Any]:
    outputs = [output for rendition in summary.plan.renditions for output in rendition.outputs]
    previews = [rendition.preview for rendition in summary.plan.renditions]
    return outputs + previews + [frame.whole.preview for frame in summary.plan.frames]


def stamps(out: Path) -> dict[str, tuple[int, int]]:
    return {
        str(path.relative_to(out)): (path.stat().st_mtime_ns, path.stat().st_ino)
        for path in out.rglob("*")
        if path.suffix in {".jpg", ".webp", ".avif", ".png", ".tif"}
    }


def test_every_planned_file_is_there_at_its_planned_size(job: Path) -> None:
    summary = run(job)
    assert summary.faults == ()
    expected = {
        "blog/soup-bowl-hero-200.avif", "blog/soup-bowl-hero-200.webp", "blog/soup-bowl-hero-200.jpg",
        "blog/soup-bowl-hero-200.png", "blog/soup-bowl-hero-400.avif", "blog/soup-bowl-hero-400.webp",
        "blog/soup-bowl-hero-400.jpg", "blog/soup-bowl-hero-400.png", "blog/soup-bread-hero-200.avif",
        "blog/soup-bread-hero-200.webp", "blog/soup-bread-hero-200.jpg", "blog/soup-bread-hero-200.png",
        "blog/soup-bread-hero-400.avif", "blog/soup-bread-hero-400.webp", "blog/soup-bread-hero-400.jpg",
        "blog/soup-bread-hero-400.png", "print/soup-bowl-eight-by-ten-300.tif",
        "print/soup-bowl-eight-by-ten-300.jpg", "partner/soup-bowl-proof-540.jpg",
    }  # fmt: skip
    out = job.parent / "out"
    assert expected == {path for path in stamps(out) if not path.startswith("sheet/")}
    for output in planned(summary):
        with Image.open(out / output.path) as image:
            assert (output.size.width, output.size.height) == image.size, output.path
            assert write_matrix_profile(SRGB) == image.info["icc_profile"], output.path


def test_the_manifest_says_what_is_on_disk(job: Path) -> None:
    run(job)
    out = job.parent / "out"
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    files = [file for rendition in manifest["renditions"] for file in rendition["files"]]
    assert len(files) == 19
    for file in files:
        data = (out / file["path"]).read_bytes()
        assert (file["bytes"], file["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())
    source = manifest["renditions"][0]["source"]
    assert source == {"file": "bowl.jpg", "sha256": hashlib.sha256((job.parent / "bowl.jpg").read_bytes()).hexdigest()}
    assert manifest["renditions"][0]["settings"]["sharpen_amount"] == 1.0
    assert len(manifest["renditions"][0]["box"]) == 4


def test_a_second_export_touches_nothing(job: Path) -> None:
    first = run(job)
    out = job.parent / "out"
    before = stamps(out)
    manifest, sheet = (out / "manifest.json").stat().st_mtime_ns, (out / "sheet" / "index.html").stat().st_mtime_ns
    second = run(job)
    assert (second.rendered, second.rewritten, second.kept) == (0, 0, first.rendered)
    assert before == stamps(out)
    assert (manifest, sheet) == (
        (out / "manifest.json").stat().st_mtime_ns,
        (out / "sheet" / "index.html").stat().st_mtime_ns,
    )


def _refuse(*_: object, **__: object) -> None:
    raise AssertionError("no pixel may be decoded or encoded here")


def test_a_changed_alt_text_rewrites_that_frame_alone_and_no_pixel(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    run(job)
    out = job.parent / "out"
    before = stamps(out)
    pictures = {path: (out / path).read_bytes() for path in before}
    monkeypatch.setattr(pipeline.frames.pixels, "decode", _refuse)
    monkeypatch.setattr(pipeline.render.budget, "encoded", _refuse)
    job.write_text(JOB.replace("Flatbread on a board", "Two flatbreads on a board"), encoding="utf-8")
    summary = run(job)
    after = stamps(out)
    changed = {path for path, stamp in before.items() if stamp != after[path]}
    assert summary.faults == ()
    assert (summary.rendered, summary.rewritten) == (0, 10)
    assert changed == {path for path in before if "bread" in path}
    assert len(changed) == 10
    formats: dict[str, OutputFormat] = {".jpg": "jpeg", ".png": "png", ".webp": "webp", ".avif": "avif"}
    for path in changed:
        kind = formats[Path(path).suffix]
        data = (out / path).read_bytes()
        assert b"Two flatbreads" in data, path
        assert picture_data(pictures[path], kind) == picture_data(data, kind), path


def test_a_file_that_was_changed_by_others_is_made_again(job: Path) -> None:
    run(job)
    path = job.parent / "out" / "blog" / "soup-bread-hero-200.jpg"
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    (job.parent / "out" / "blog" / "soup-bread-hero-400.png").unlink()
    assert run(job).rendered == 2
    assert whole == path.read_bytes()


def test_what_somebody_changed_by_hand_is_set_aside_and_not_lost(job: Path) -> None:
    run(job)
    path = job.parent / "out" / "blog" / "soup-bread-hero-200.jpg"
    whole = path.read_bytes()
    for number, place in enumerate(("set-aside", "set-aside/2"), start=1):
        path.write_bytes(b"retouched by hand" * number)
        summary = run(job)
        aside = job.parent / "out" / place / "blog" / "soup-bread-hero-200.jpg"
        assert aside.read_bytes() == b"retouched by hand" * number
        assert whole == path.read_bytes()
        (note,) = [note for note in summary.notes if "was not as plateline left it" in note]
        assert note.endswith(f"that version is now {place}/blog/soup-bread-hero-200.jpg")


def test_files_of_a_run_that_was_never_recorded_are_not_set_aside(job: Path) -> None:
    run(job)
    for part in (job.parent / "out").glob("ledger.sqlite*"):
        part.unlink()
    assert run(job).notes == ()
    assert not (job.parent / "out" / "set-aside").exists()


def test_files_that_the_job_makes_no_longer_are_told_and_left(job: Path) -> None:
    run(job)
    job.write_text(JOB.replace('"avif", "webp", "jpeg", "png"', '"avif", "webp", "jpeg"'), encoding="utf-8")
    summary = run(job)
    left = {f"blog/soup-{frame}-hero-{width}.png" for frame in ("bowl", "bread") for width in (200, 400)}
    assert left == set(summary.left_over)
    assert all((job.parent / "out" / path).is_file() for path in left)
    said = list(summary_lines(summary, job.parent / "out"))
    assert any(line.startswith("note: 4 files made earlier and no longer in the job, left in place: ") for line in said)


def test_a_part_of_the_job_shows_gaps_in_the_sheet_and_no_broken_picture(job: Path) -> None:
    out = job.parent / "out"
    run(job, only="bowl/print/*")
    page = (out / "sheet" / "index.html").read_text(encoding="utf-8")
    shown = re.findall(r'<img src="([^"]+)"', page)
    assert len(shown) == 2  # the whole frame, and its print
    assert all((out / "sheet" / link).is_file() for link in shown)


def test_the_summary_of_a_part_tells_of_that_part_alone(job: Path) -> None:
    text = JOB.replace("size_mm = [25.4, 31.75]", "size_mm = [254, 317.5]")
    job.write_text(text, encoding="utf-8")
    part = list(summary_lines(run(job, only="bread/*"), job.parent / "out"))
    whole = list(summary_lines(run(job), job.parent / "out"))
    assert not [line for line in part if line.startswith("refused: ")]
    assert [line.partition(": too")[0] for line in whole if line.startswith("refused: ")] == [
        "refused: bowl/print/eight-by-ten"
    ]


def test_same_bytes_whatever_the_number_of_workers(job: Path) -> None:
    one = run(job, workers=1)
    two = export(Asked(job, job.parent / "again", workers=2, quiet=True), io.StringIO())
    assert {path: row.sha256 for path, row in one.made.items()} == {path: row.sha256 for path, row in two.made.items()}
    assert one.rendered == two.rendered


def test_only_what_matches_is_made(job: Path) -> None:
    run(job, only="bowl/print/*")
    made = {path for path in stamps(job.parent / "out") if not path.startswith("sheet/")}
    assert made == {"print/soup-bowl-eight-by-ten-300.tif", "print/soup-bowl-eight-by-ten-300.jpg"}


def test_what_a_killed_run_left_is_swept_and_finished(job: Path) -> None:
    folder = job.parent / "out" / "blog"
    folder.mkdir(parents=True)
    left = folder / ".unfinished-1-soup-bread-hero-200.jpg"
    left.write_bytes(b"half a picture")
    run(job)
    assert not left.exists()
    assert not list((job.parent / "out").rglob(".unfinished-*"))


def test_what_a_killed_run_left_is_swept_from_every_folder_that_an_export_writes_to(job: Path) -> None:
    run(job)
    out = job.parent / "out"
    folders = {path.parent for path in out.rglob("*") if path.is_file()}
    assert out / "web" / "en" in folders
    for folder in folders:
        (folder / ".unfinished-1-0badcafe-some.html").touch()
    run(job)
    assert not list(out.rglob(".unfinished-*"))


def test_a_delivered_name_stays_until_rename(job: Path) -> None:
    run(job)
    out = job.parent / "out"
    before = stamps(out)
    job.write_text(JOB.replace('slug = "soup"', 'slug = "bean-soup"'), encoding="utf-8")
    kept = run(job)
    assert (kept.rendered, kept.renamed, kept.kept_names) == (0, (), 19)
    assert "note: 19 files kept the name delivered before" in "\n".join(summary_lines(kept, out))
    assert before == stamps(out)
    renamed = run(job, rename=True)
    assert ("blog/soup-bread-hero-200.jpg", "blog/bean-soup-bread-hero-200.jpg") in renamed.renamed
    assert renamed.rendered == 0
    names = {path for path in stamps(out) if not path.startswith("sheet/")}
    assert len(names) == 19
    assert all("/bean-soup-" in name for name in names)


def test_files_of_a_target_that_has_another_name_are_moved_by_rename(tmp_path: Path, job: Path) -> None:
    """Nothing is decoded for them; a target of the same pixels that another frame has keeps its own files."""
    profile = tmp_path / "my-profiles" / "stall.toml"
    profile.parent.mkdir()
    profile.write_text(STALL, encoding="utf-8")
    text = JOB.replace('"partner"]', '"partner", "stall"]').replace(', "partner/proof"]', ', "stall/card"]', 1)
    text = text.replace("[shoot]", 'profiles_folder = "my-profiles"\n\n[shoot]', 1)
    job.write_text(text, encoding="utf-8")
    run(job)
    out = job.parent / "out"
    [card] = [path for path in stamps(out) if path.startswith("stall/")]
    before = (out / card).read_bytes()
    profile.write_text(STALL.replace("[targets.card]", "[targets.label]"), encoding="utf-8")
    job.write_text(text.replace("stall/card", "stall/label"), encoding="utf-8")
    renamed = run(job, rename=True)
    label = card.replace("card", "label")
    assert renamed.renamed == ((card, label),)
    assert [path for path in stamps(out) if path.startswith("stall/")] == [label]
    assert picture_data((out / label).read_bytes(), "jpeg") == picture_data(before, "jpeg")
    again = run(job, rename=True)
    assert (again.rendered, again.rewritten, again.renamed) == (0, 0, ())


def test_two_exports_in_one_folder_do_not_mix(job: Path) -> None:
    out = job.parent / "out"
    out.mkdir()
    with (out / ".exporting").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(RequestRefused, match="another export is at work in this folder"):
            run(job)
    assert stamps(out) == {}


def test_frames_are_never_written_to(job: Path) -> None:
    frames = [job.parent / "bowl.jpg", job.parent / "bread.jpg"]
    before = [(path.read_bytes(), path.stat().st_mtime_ns) for path in frames]
    run(job)
    assert before == [(path.read_bytes(), path.stat().st_mtime_ns) for path in frames]


def test_an_independent_reader_finds_the_facts_and_nothing_private(
    job: Path, exiftool: Callable[[Path], dict[str, Any]]
) -> None:
    """Exiftool reads every container; tag names are those of its tables."""
    summary = run(job)
    out = job.parent / "out"
    for frame in summary.plan.frames:
        for rendition in frame.renditions:
            for output in rendition.outputs:
                tags = exiftool(out / output.path)
                by_name = {name.rpartition(":")[2]: value for name, value in tags.items()}
                assert frame.facts.alt == by_name["AltTextAccessibility"], output.path
                assert tags["XMP-dc:Creator"] == ["Ines Falkenrath", "Jö Tàn"], output.path
                assert tags["XMP-photoshop:Credit"] == "Ines Falkenrath / larder-and-light.example", output.path
                assert tags["XMP-dc:Rights"] == "© 2026 Ines Falkenrath", output.path
                assert by_name["WebStatement"] == "https://larder-and-light.example/licence", output.path
                private = [name for name in tags if "GPS" in name or "Serial" in name or "MakerNote" in name]
                assert private == [], output.path
                assert by_name.get("ThumbnailImage") is None, output.path


def test_planted_private_bytes_are_in_no_file(job: Path) -> None:
    run(job)
    planted = (b"SERIAL-4711", b"Ines Privately", b"MAKERNOTE-BLOB", b"GPSLatitude")
    for path in (job.parent / "out").rglob("*"):
        if path.is_file():
            data = path.read_bytes()
            assert not [word for word in planted if word in data], path


def test_camera_facts_leave_only_under_the_full_policy(job: Path, exiftool: Callable[[Path], dict[str, Any]]) -> None:
    run(job)
    out = job.parent / "out"
    full = exiftool(out / "print" / "soup-bowl-eight-by-ten-300.tif")
    public = exiftool(out / "blog" / "soup-bowl-hero-400.jpg")
    assert full["IFD0:Model"] == "HO-7"
    assert "IFD0:Model" not in public
    assert float(full["IFD0:XResolution"]) == 300
    assert float(public["IFD0:XResolution"]) == 72


def test_a_proof_is_marked_and_reserves_all_rights(job: Path, exiftool: Callable[[Path], dict[str, Any]]) -> None:
    summary = run(job)
    proof = next(one for one in summary.plan.renditions if one.target == "proof")
    assert proof.settings.mark == "Proof · Roasted tomato and white bean soup"
    tags = exiftool(job.parent / "out" / proof.outputs[0].path)
    assert tags["XMP-xmpRights:UsageTerms"].startswith("Proof for review only. All rights reserved")


class _Taking(io.StringIO):
    """Progress that takes the output folder away as soon as a frame is done, and puts another in its place if asked."""

    def __init__(self, out: Path, *, again: bool) -> None:
        super().__init__()
        self._out, self._again = out, again

    def write(self, text: str) -> int:
        shutil.rmtree(self._out, ignore_errors=True)
        if self._again:
            self._out.mkdir()
        return super().write(text)


@pytest.mark.parametrize("again", [False, True])
def test_a_folder_that_is_taken_away_meanwhile_is_a_fault(job: Path, *, again: bool) -> None:
    out = job.parent / "out"
    with pytest.raises(FileNotFoundError, match="taken away while files were being written to it") as error:
        export(Asked(job, out, workers=1), _Taking(out, again=again))
    assert error.value.filename == str(out)
    assert not (out / "manifest.json").exists()
