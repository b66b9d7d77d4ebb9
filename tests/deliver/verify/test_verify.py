"""The whole check on a real delivery: each kind of change is caught, with its own sentence, in the right file."""

from __future__ import annotations

import json
import os
import shutil
from typing import TYPE_CHECKING, Any

import pytest
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

import pipeline.deliver.verify.verify
from pipeline.deliver.verify.delivered import read_manifest
from pipeline.deliver.verify.verify import verify
from pipeline.faults import RequestRefused
from tests.deliver.verify.delivery import ENDINGS, FILES, JOB, deliver, of_ending

if TYPE_CHECKING:
    from pathlib import Path

    from pipeline.deliver.verify.findings import Report
    from tests.deliver.verify.conftest import Edit


@pytest.fixture(autouse=True)
def our_own_readers_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ask no second reader: all that follows is found by ours."""
    monkeypatch.setattr(pipeline.deliver.verify.verify, "consult", lambda *_: ("", []))


def found(report: Report) -> list[tuple[str, str]]:
    """Return kind and file of every finding."""
    return [(finding.kind, finding.file) for finding in report.findings]


def sentences(report: Report) -> list[str]:
    return [str(finding) for finding in report.findings]


def resave(path: Path, image: Image.Image, options: dict[str, Any]) -> None:
    """Write a picture anew with all the metadata that Pillow keeps: Exif, XMP, profile, resolution; no IIM."""
    kept: dict[str, Any] = {
        name: image.info[name] for name in ("exif", "xmp", "icc_profile", "dpi") if name in image.info
    }
    if "XML:com.adobe.xmp" in image.info:
        text = PngInfo()
        text.add_itxt("XML:com.adobe.xmp", image.info["XML:com.adobe.xmp"])
        kept["pnginfo"] = text
    image.save(path, **kept, **options)


def one_pixel_changed(path: Path, options: dict[str, Any]) -> None:
    with Image.open(path) as opened:
        opened.load()
        pixel = opened.getpixel((5, 7))
        assert isinstance(pixel, tuple)
        opened.putpixel((5, 7), ((pixel[0] + 128) % 256, *pixel[1:]))
        resave(path, opened, options)


def test_a_clean_folder_has_no_finding(delivery: Path) -> None:
    report = verify(delivery)
    assert sentences(report) == []
    assert sorted(report.files) == list(FILES)
    assert (report.delivered, report.well) == (len(FILES), len(FILES))
    assert all(cell.same for cell in report.cells)


def test_every_fact_of_the_job_was_compared(delivery: Path) -> None:
    fields = {cell.field for cell in verify(delivery).cells if "bowl" in cell.file}
    assert {
        "title", "headline", "description", "alt", "long_alt", "keywords", "creators", "creator_title", "contact",
        "contributors", "credit_line", "source", "date_created", "digital_source", "copyright", "licence_url",
        "usage_terms", "owner", "licensor", "job_id", "caption_writer", "licence_ends", "orientation", "pixels",
        "resolution", "colour_space", "charset", "digest",
    } <= fields  # fmt: skip


@pytest.mark.parametrize("ending", ENDINGS)
def test_one_pixel_changed(out: Path, ending: str) -> None:
    name = of_ending(ending)
    options: dict[str, dict[str, Any]] = {
        "jpg": {"quality": 95},
        "png": {},
        "webp": {"lossless": True},
        "avif": {"quality": 95},
        "tif": {"compression": "tiff_lzw"},
    }
    one_pixel_changed(out / name, options[ending])
    report = verify(out)
    assert ("pixels", name) in found(report)
    assert {finding.file for finding in report.findings} == {name}
    sentence = "its pixels were changed or compressed anew; its picture data is not what was delivered"
    assert any(line.startswith(f"{name}: {sentence}") for line in sentences(report))


def test_one_pixel_of_a_png_and_nothing_else(out: Path) -> None:
    one_pixel_changed(out / of_ending("png"), {})
    assert found(verify(out)) == [("pixels", of_ending("png"))]


@pytest.mark.parametrize("ending", ENDINGS)
def test_metadata_stripped(out: Path, edit: Edit, ending: str) -> None:
    name = of_ending(ending)
    edit(out / name, "-all=", "-tagsFromFile", "@", "-icc_profile")
    report = verify(out)
    assert ("pixels", name) not in found(report)
    assert {finding.file for finding in report.findings} == {name}
    kinds = {finding.kind for finding in report.findings}
    assert "stripped" in kinds
    if ending in {"webp", "avif"}:
        assert sentences(report)[0] == f"{name}: all its metadata was stripped; Exif and XMP were delivered"


def test_metadata_stripped_by_writing_the_picture_anew(out: Path) -> None:
    name = of_ending("jpg")
    with Image.open(out / name) as image:
        image.save(out / name, quality="keep", icc_profile=image.info["icc_profile"])
    report = verify(out)
    assert f"{name}: all its metadata was stripped; Exif, IIM and XMP were delivered" in sentences(report)


@pytest.mark.parametrize("ending", ENDINGS)
def test_one_field_edited_in_xmp(out: Path, edit: Edit, ending: str) -> None:
    name = of_ending(ending)
    edit(out / name, "-XMP-photoshop:Credit=Somebody else")
    delivered = "Ines Falkenrath / larder-and-light.example"
    assert sentences(verify(out)) == [f"{name}: credit line in XMP: found 'Somebody else'; '{delivered}' was delivered"]


def test_one_language_of_the_alt_text_edited(out: Path, edit: Edit) -> None:
    name = of_ending("webp")
    edit(out / name, "-XMP-iptcCore:AltTextAccessibility-fr=Une assiette")
    (finding,) = verify(out).findings
    assert (finding.field, finding.container, finding.part) == ("alt", "XMP", "fr")
    assert str(finding) == (f"{name}: alt text in XMP (fr): found 'Une assiette'; 'Un bol de soupe' was delivered")


def test_one_field_edited_in_exif(out: Path, edit: Edit) -> None:
    name = of_ending("png")
    edit(out / name, "-IFD0:Copyright=Mine now")
    assert sentences(verify(out)) == [
        f"{name}: copyright notice in Exif: found 'Mine now'; '© 2026 Ines Falkenrath' was delivered"
    ]


def test_one_field_edited_in_iim(out: Path, edit: Edit) -> None:
    name = of_ending("jpg")
    edit(out / name, "-IPTC:Headline=Another")
    assert sentences(verify(out)) == [
        f"{name}: headline in IIM: found 'Another'; 'One <pot>' was delivered",
        f"{name}: digest in IIM: it is not that of the datasets; another program wrote IIM",
    ]


def test_one_field_removed(out: Path, edit: Edit) -> None:
    name = of_ending("avif")
    edit(out / name, "-XMP-xmpRights:WebStatement=")
    (finding,) = verify(out).findings
    assert (finding.kind, finding.field, finding.found) == ("field", "licence_url", "it is not there")


@pytest.mark.parametrize("ending", ["jpg", "png", "webp", "tif"])
def test_profile_removed(out: Path, edit: Edit, ending: str) -> None:
    name = of_ending(ending)
    edit(out / name, "-icc_profile:all=")
    assert sentences(verify(out)) == [
        f"{name}: its colour profile was removed; without it other programs guess its colours; use the delivered file"
    ]


def test_another_profile(out: Path, edit: Edit, tmp_path: Path) -> None:
    other = tmp_path / "other.icc"
    other.write_bytes(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    edit(out / of_ending("jpg"), f"-icc_profile<={other}")
    (finding,) = verify(out).findings
    assert (finding.kind, finding.found) == ("profile", "its colour profile is another one")


def test_file_renamed(out: Path) -> None:
    (out / of_ending("jpg")).rename(out / "blog" / "soup final (1).jpg")
    assert sentences(verify(out)) == [
        f"blog/soup final (1).jpg: it was renamed; it was delivered as {of_ending('jpg')}"
    ]


def test_file_moved(out: Path) -> None:
    (out / of_ending("webp")).rename(out / "soup-bowl-hero-200.webp")
    assert sentences(verify(out)) == [f"soup-bowl-hero-200.webp: it was moved; it was delivered as {of_ending('webp')}"]


def test_two_files_that_changed_places(out: Path) -> None:
    one, two = out / "blog/soup-bowl-hero-200.jpg", out / "blog/soup-bread-hero-200.jpg"
    first, second = one.read_bytes(), two.read_bytes()
    one.write_bytes(second)
    two.write_bytes(first)
    report = verify(out)
    assert {("pixels", "blog/soup-bowl-hero-200.jpg"), ("pixels", "blog/soup-bread-hero-200.jpg")} <= set(found(report))


def test_file_missing(out: Path) -> None:
    (out / of_ending("tif")).unlink()
    assert sentences(verify(out)) == [f"{of_ending('tif')}: it is missing; export again, or ask for it back"]


def test_an_extra_file(out: Path) -> None:
    (out / "blog" / "notes.txt").write_text("not ours", encoding="utf-8")
    assert sentences(verify(out)) == [
        "blog/notes.txt: it is an extra file; it was not delivered; take it out or ask where it comes from"
    ]


def test_the_sheet_and_the_web_kit_are_no_extra_files(out: Path) -> None:
    (out / "web").mkdir(exist_ok=True)
    (out / "web" / "index.html").write_text("<!doctype html>", encoding="utf-8")
    assert (out / "sheet" / "index.html").exists()
    assert found(verify(out)) == []


def test_a_link_is_not_followed(out: Path, tmp_path: Path) -> None:
    outside = tmp_path / "outside.jpg"
    shutil.move(out / of_ending("jpg"), outside)
    (out / of_ending("jpg")).symlink_to(outside)
    assert found(verify(out)) == [("extra", of_ending("jpg"))]


def test_a_pipe_is_not_opened(out: Path) -> None:
    os.mkfifo(out / "blog" / "pipe.jpg")
    assert found(verify(out)) == [("extra", "blog/pipe.jpg")]


@pytest.mark.parametrize("ending", ENDINGS)
def test_a_position_that_was_put_in(out: Path, edit: Edit, ending: str) -> None:
    name = of_ending(ending)
    edit(out / name, "-GPSLatitude=45.1", "-GPSLatitudeRef=N")
    assert f"{name}: it holds a GPS position (Exif); nothing private was delivered; do not pass it on" in sentences(
        verify(out)
    )


@pytest.mark.parametrize(
    ("option", "sentence"),
    [
        ("-ExifIFD:SerialNumber=4711", "it holds a serial number (Exif)"),
        ("-ExifIFD:OwnerName=Ines Privately", "it holds the camera owner's name (Exif)"),
        ("-XMP-xmpMM:DocumentID=abc", "it holds an editing history (XMP xmpMM:DocumentID)"),
        ("-XMP-exif:GPSLatitude=45.1", "it holds a GPS position (XMP exif:GPSLatitude)"),
        ("-XMP-aux:SerialNumber=4711", "it holds a serial number (XMP aux:SerialNumber)"),
        ("-XMP-photoshop:City=Home", "it holds a place (XMP photoshop:City)"),
        ("-IPTC:City=Home", "it holds a place (IIM 2:90)"),
        ("-Comment=hello", "it holds a comment (JPEG)"),
        ("-XMP-xmp:CreatorTool=Invented 1", "it holds the XMP property xmp:CreatorTool"),
        ("-IFD0:Software=Invented 1", "it holds the Exif tag Software"),
    ],
)
def test_what_a_stranger_put_in(out: Path, edit: Edit, option: str, sentence: str) -> None:
    edit(out / of_ending("jpg"), option)
    assert any(line.startswith(f"{of_ending('jpg')}: {sentence}; ") for line in sentences(verify(out)))


def test_private_data_in_a_preview_of_the_sheet(out: Path, edit: Edit) -> None:
    preview = next((out / "sheet").rglob("*.jpg"))
    edit(preview, "-GPSLatitude=45.1", "-GPSLatitudeRef=N")
    assert found(verify(out)) == [("private", preview.relative_to(out).as_posix())]


def test_a_folder_that_came_back(out: Path, delivery: Path, tmp_path: Path) -> None:
    """One file as it was, one made smaller, one recompressed without metadata, one made into another format."""
    back = tmp_path / "back"
    back.mkdir()
    shutil.copy(out / of_ending("webp"), back)
    with Image.open(out / "blog/soup-bread-hero-200.jpg") as image:
        image.save(back / "soup-bread-hero-200.jpg", quality=40)
    with Image.open(out / "partner/soup-bowl-proof-540.jpg") as image:
        image.resize((270, 180)).save(back / "soup-bowl-proof-540.jpg")
    with Image.open(out / of_ending("tif")) as image:
        image.save(back / "soup-bowl-eight-by-ten-300.png", icc_profile=image.info["icc_profile"])
    (out / "print/soup-bowl-eight-by-ten-300.jpg").unlink()
    manifest = delivery / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    for rendition in document["renditions"]:  # the print JPEG was never delivered to them
        rendition["files"] = [file for file in rendition["files"] if not file["path"].endswith("300.jpg")]
    against = tmp_path / "sent.json"
    against.write_text(json.dumps(document), encoding="utf-8")
    report = verify(back, against)
    kinds: dict[str, set[str]] = {}
    for kind, file in found(report):
        kinds.setdefault(file, set()).add(kind)
    assert "soup-bowl-hero-200.webp" not in kinds
    assert (report.elsewhere, report.well) == (3, 1)
    assert kinds.pop("soup-bread-hero-200.jpg") == {"pixels", "stripped", "profile"}
    assert kinds.pop("soup-bowl-proof-540.jpg") == {"size", "stripped", "profile"}
    assert kinds.pop("soup-bowl-eight-by-ten-300.png") == {"renamed", "format", "stripped"}
    assert set(map(frozenset, kinds.values())) == {frozenset({"missing"})}
    assert "soup-bowl-proof-540.jpg: it has 270 x 180 pixels; 540 x 360 were delivered" in sentences(report)


def test_the_manifest_of_the_folder_itself_given_as_against(out: Path) -> None:
    assert verify(out, out / "manifest.json") == verify(out)


def test_bytes_that_say_the_same_in_another_order(out: Path, edit: Edit) -> None:
    name = of_ending("webp")
    edit(out / name, "-XMP-photoshop:Credit=x")
    edit(out / name, "-XMP-photoshop:Credit=Ines Falkenrath / larder-and-light.example")
    (finding,) = verify(out).findings
    assert (finding.kind, finding.file) == ("rewritten", name)


def test_a_file_older_than_the_job_says_so(out: Path) -> None:
    manifest = out / "manifest.json"
    document = json.loads(manifest.read_text(encoding="utf-8"))
    for rendition in document["renditions"]:
        rendition["facts"]["credit_line"] = "A new line"
    manifest.write_text(json.dumps(document), encoding="utf-8")
    report = verify(out)
    assert {finding.kind for finding in report.findings} == {"stale"}
    assert all(str(finding).endswith("the job says 'A new line'; export again") for finding in report.findings)


def test_after_a_change_of_words_alone_the_pictures_are_those_of_before(tmp_path: Path) -> None:
    def pictures() -> list[str | None]:
        return [file.picture_sha256 for file in read_manifest(tmp_path / "out" / "manifest.json")]

    deliver(tmp_path)
    before = pictures()
    out = deliver(tmp_path, JOB.replace("Flatbread on a board", "Two flatbreads"))
    assert None not in before
    assert before == pictures()
    report = verify(out)
    assert sentences(report) == []


def test_a_truncated_file(out: Path) -> None:
    path = out / of_ending("jpg")
    path.write_bytes(path.read_bytes()[:-4])
    (finding,) = verify(out).findings
    assert str(finding) == (
        f"{of_ending('jpg')}: it cannot be read (the JPEG file is cut short: its last scan has no end); "
        "use the delivered file"
    )


def test_no_folder(tmp_path: Path) -> None:
    with pytest.raises(RequestRefused, match="nowhere: it is no folder; name the folder that holds the delivered"):
        verify(tmp_path / "nowhere")


def test_nothing_is_written(out: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in out.rglob("*")}
    verify(out)
    assert before == {path: path.stat().st_mtime_ns for path in out.rglob("*")}
