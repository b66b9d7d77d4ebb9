"""Deliveries to a press, in grey and in Display P3: from the job file to what others read, and what is told of them."""

from __future__ import annotations

import hashlib
import io
import json
from typing import TYPE_CHECKING, Any

import imagecodecs
import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image

from pipeline.deliver.export import Asked, Summary, export
from pipeline.deliver.summary import summary_lines
from pipeline.deliver.verify.verify import verify
from pipeline.light.icc import write_matrix_profile
from pipeline.light.icc_output import GREY
from pipeline.light.spaces import DISPLAY_P3
from tests.light.foreign_tables import PRESS, printer_profile
from tests.small_shoot import HEAD

if TYPE_CHECKING:
    from pathlib import Path

    from tests.conftest import ReadTags

JOB = (
    HEAD.replace('["blog", "feed", "print", "partner"]', '["blog", "print"]')
    + """
[credit]
creator = "Ines Falkenrath"
copyright = "© 2026 Ines Falkenrath"

[icc_profiles]
our-press = "press.icc"
our-printer = "printer.icc"

[targets."print/magazine"]
about = "A quarter page"
size_mm = [60, 80]
ppi = 150
too_small = "shrink"
keep_miss = "caution"
formats = ["tiff", "jpeg"]
sharpen = { medium = "paper" }
colour = "our-press"
ink_limit = 200
metadata = "full"

[targets."print/own-printer"]
about = "For her printer"
size_px = [300, 200]
too_small = "shrink"
keep_miss = "caution"
formats = ["tiff", "jpeg"]
sharpen = { medium = "none" }
colour = "our-printer"
intent = "perceptual"
metadata = "public"

[targets."blog/grey"]
about = "Grey"
size_px = [300, 200]
too_small = "shrink"
keep_miss = "caution"
formats = ["jpeg", "png", "tiff"]
sharpen = { medium = "screen" }
colour = "grey"
metadata = "public"

[targets."blog/wide"]
about = "For screens of a wide gamut"
size_px = [300, 200]
too_small = "shrink"
keep_miss = "caution"
formats = ["jpeg", "webp", "avif", "png"]
sharpen = { medium = "screen" }
colour = "display-p3"
gamut = "soft"
metadata = "public"

[targets."blog/hero"]
widths = [400]
formats = ["jpeg"]
colour = "our-press"

[[frames]]
file = "bowl.png"
subject = [0.5, 0.5]
alt = "A bowl of soup"
targets = ["print/magazine", "print/own-printer", "blog/grey", "blog/wide", "blog/hero"]
"""
)
CMYK = "print/bean-soup-bowl-magazine-354"
GREYS = [f"blog/bean-soup-bowl-grey-300.{ending}" for ending in ("jpg", "png", "tif")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a job, its profiles, and a frame of tomato reds, greens, greys and a black in Display P3."""
    folder = tmp_path_factory.mktemp("press")
    (folder / "press.icc").write_bytes(PRESS)
    (folder / "printer.icc").write_bytes(printer_profile())
    (folder / "job.toml").write_text(JOB, encoding="utf-8")
    ramp = np.linspace(0, 1, 600)[None, :, None] * np.linspace(0.3, 1, 480)[:, None, None]
    reds = np.array([255, 40, 20]) * ramp
    reds[160:320] = (np.array([60, 200, 40]) * ramp)[160:320]
    reds[320:] = (255 * ramp * np.ones(3))[320:]
    Image.fromarray(reds.round().astype(np.uint8)).save(
        folder / "bowl.png", icc_profile=write_matrix_profile(DISPLAY_P3)
    )
    return folder


@pytest.fixture(scope="module")
def summary(folder: Path) -> Summary:
    return run(folder)


def run(folder: Path) -> Summary:
    return export(Asked(folder / "job.toml", folder / "out", workers=1, quiet=True), io.StringIO())


@pytest.fixture(scope="module")
def out(folder: Path, summary: Summary) -> Path:
    assert summary.faults == ()
    return folder / "out"


def rendition(out: Path, target: str) -> dict[str, Any]:
    manifest = json.loads((out / "manifest.json").read_text(encoding="utf-8"))
    (found,) = [one for one in manifest["renditions"] if one["target"] == target]
    return dict(found)


def test_every_reader_reads_the_same_ink_from_tiff_and_jpeg(out: Path) -> None:
    inks = tifffile.imread(out / f"{CMYK}.tif")
    jpeg = (out / f"{CMYK}.jpg").read_bytes()
    with Image.open(out / f"{CMYK}.tif") as tiff, Image.open(io.BytesIO(jpeg)) as opened:
        assert (tiff.mode, opened.mode) == ("CMYK", "CMYK")
        np.testing.assert_array_equal(inks, np.asarray(tiff))
        by_pillow = np.asarray(opened)
    by_libvips = pyvips.Image.new_from_buffer(jpeg, "")
    assert by_libvips.interpretation == "cmyk"
    np.testing.assert_array_equal(by_pillow, by_libvips.numpy())
    # libjpeg alone gives what is stored, which by the convention of the Adobe marker is the ink upside down.
    np.testing.assert_array_equal(by_pillow, 255 - imagecodecs.jpeg8_decode(jpeg))
    assert np.abs(inks.astype(int) - by_pillow).mean() < 2
    assert inks.shape == (472, 354, 4)


def test_a_cmyk_jpeg_has_the_marker_that_readers_go_by_and_no_jfif(out: Path, exiftool: ReadTags) -> None:
    data = (out / f"{CMYK}.jpg").read_bytes()
    assert data[2:4] == b"\xff\xe1"
    assert b"JFIF\0" not in data[:4096]
    assert b"\xff\xee\x00\x0eAdobe" in data
    tags = exiftool(out / f"{CMYK}.jpg", "-n", "-validate", "-warning", "-error", "-all")
    assert tags["File:ColorComponents"] == 4
    assert tags["Adobe:ColorTransform"] == 0
    assert tags["IFD0:XResolution"] == 150
    # Exif's word for the order of components knows YCbCr and RGB, no inks: nothing can be written there.
    assert tags["ExifTool:Warning"].endswith("Missing required JPEG ExifIFD tag 0x9101 ComponentsConfiguration")


@pytest.mark.parametrize("ending", ["jpg", "tif"])
def test_a_press_file_has_its_profile_and_says_it_is_not_srgb(ending: str, out: Path, exiftool: ReadTags) -> None:
    with Image.open(out / f"{CMYK}.{ending}") as opened:
        assert opened.info["icc_profile"] == PRESS
    tags = exiftool(out / f"{CMYK}.{ending}", "-n")
    assert tags["ExifIFD:ColorSpace"] == 0xFFFF
    assert tags["IFD0:Copyright"] == "© 2026 Ines Falkenrath"
    assert tags["ICC-header:ColorSpaceData"] == "CMYK"


@pytest.mark.parametrize("path", GREYS)
def test_grey_is_one_channel_with_a_grey_profile(path: str, out: Path) -> None:
    with Image.open(out / path) as opened:
        assert opened.mode == "L"
        assert opened.info["icc_profile"] == GREY.icc_profile
        grey = np.asarray(opened).astype(int)
    with Image.open(out / GREYS[1]) as exact:
        assert np.abs(grey - np.asarray(exact)).max() <= (0 if path.endswith(("png", "tif")) else 12)


def test_display_p3_in_every_format(out: Path) -> None:
    for ending in ("jpg", "webp", "avif", "png"):
        with Image.open(out / f"blog/bean-soup-bowl-wide-300.{ending}") as opened:
            assert opened.mode == "RGB"
            assert opened.info["icc_profile"] == write_matrix_profile(DISPLAY_P3)


def test_on_the_sheet_all_of_it_is_srgb_of_the_same_look(out: Path, exiftool: ReadTags) -> None:
    for target, looks in (("print--magazine", f"{CMYK}.tif"), ("blog--grey", GREYS[1])):
        path = out / f"sheet/previews/bowl--{target}.jpg"
        assert exiftool(path, "-n")["ExifIFD:ColorSpace"] == 1
        with Image.open(path) as preview, Image.open(out / looks) as made:
            assert preview.mode == "RGB"
            small = np.asarray(preview).astype(int)
            wide = pyvips.Image.new_from_file(str(out / looks)).icc_transform("srgb", black_point_compensation=True)
            shown = wide.thumbnail_image(preview.width, height=preview.height, size="force").numpy().astype(int)
            shown = np.repeat(shown[..., None], 3, 2) if shown.ndim == 2 else shown
            assert made.size[0] >= preview.width
        assert np.abs(small - shown).mean() < 4


def test_a_page_that_no_browser_shows_has_a_view_that_it_does(out: Path, summary: Summary) -> None:
    (press,) = [one for one in summary.plan.renditions if one.target == "magazine"]
    assert press.full is None  # it is no larger than its preview
    assert {output.path for output in press.sheet_outputs} == {"sheet/previews/bowl--print--magazine.jpg"}
    assert (out / "sheet/previews/bowl--print--magazine.jpg").is_file()


def test_ink_is_measured_recorded_and_told(out: Path, summary: Summary) -> None:
    inks = tifffile.imread(out / f"{CMYK}.tif").sum(axis=-1, dtype=int) / 2.55
    found = rendition(out, "print/magazine")
    for file in found["files"]:
        assert file["total_ink"] == pytest.approx(inks.max())
        assert file["heavy_ink"] == pytest.approx(np.quantile(inks, 0.999), abs=1)
        assert file["ink_over"] == pytest.approx((inks > 200).mean())
    (caution,) = [one for one in found["cautions"] if "ink" in one]
    assert caution == (
        f"{(inks > 200).mean():.1%} of its pixels carry more than 200% ink, up to {inks.max():.0f}%: "
        "ask the printer for a profile that lays down less than 'our-press'"
    )
    lines = list(summary_lines(summary, out))
    ink = f"{file['heavy_ink']:.0f}% at most, {inks.max():.0f}% at single pixels"
    assert f"note: bowl/print/magazine: total ink {ink}" in lines
    page = (out / "sheet/index.html").read_text(encoding="utf-8")
    assert ink in page
    assert "carry more than 200% ink" in page


def test_what_lies_outside_is_told_of_each_target(out: Path, summary: Summary) -> None:
    shares = {name: max(file["outside_gamut"] for file in rendition(out, name)["files"]) for name in (
        "print/magazine", "print/own-printer", "blog/grey", "blog/wide")}  # fmt: skip
    assert 0.02 < shares["print/magazine"] < 0.9
    assert shares["blog/grey"] == shares["blog/wide"] == 0.0
    assert any(
        "lie outside 'our-p" in line and "the nearest that it has" in line for line in summary_lines(summary, out)
    )
    assert "outside our-press" in (out / "sheet/index.html").read_text(encoding="utf-8").replace(
        "\N{NO-BREAK SPACE}", " "
    )


def test_the_manifest_holds_digests_and_no_profile(out: Path) -> None:
    found = rendition(out, "print/magazine")
    digest = hashlib.sha256(PRESS).hexdigest()
    assert found["settings"]["icc_profile"] == found["icc_profile_sha256"] == digest
    assert (found["channels"], rendition(out, "blog/grey")["channels"], rendition(out, "blog/wide")["channels"]) == (
        4,
        1,
        3,
    )
    assert rendition(out, "blog/grey")["icc_profile_sha256"] == hashlib.sha256(GREY.icc_profile).hexdigest()
    assert (out / "manifest.json").stat().st_size < 60_000


def test_the_code_for_the_post_names_no_file_of_a_press(out: Path) -> None:
    page = (out / "web/index.html").read_text(encoding="utf-8")
    assert "bean-soup-bowl-wide-300" in page
    for made in ("magazine", "hero-400"):
        assert len(list(out.glob(f"*/*{made}*.jpg"))) == 1
        assert made not in page


def test_verify_finds_all_as_delivered(out: Path) -> None:
    report = verify(out)
    assert report.findings == ()
    assert report.well == report.delivered == 12


def test_verify_tells_when_inks_became_rgb_or_grey_lost_its_profile(out: Path, tmp_path: Path) -> None:
    changed = tmp_path / "back"
    for path in (f"{CMYK}.jpg", GREYS[1]):
        (changed / path).parent.mkdir(parents=True, exist_ok=True)
    with Image.open(out / f"{CMYK}.jpg") as opened:
        opened.convert("RGB").save(changed / f"{CMYK}.jpg", icc_profile=PRESS)
    with Image.open(out / GREYS[1]) as opened:
        opened.save(changed / GREYS[1], icc_profile=None)
    told = [str(one) for one in verify(changed, out / "manifest.json").findings]
    assert f"{CMYK}.jpg: its pixels are RGB now; CMYK was delivered; use the delivered file" in told
    assert any(one.startswith(f"{GREYS[1]}: its colour profile was removed") for one in told)


def test_a_second_export_has_nothing_to_do_and_new_words_keep_what_was_measured(folder: Path, out: Path) -> None:
    again = run(folder)
    assert (again.rendered, again.rewritten) == (0, 0)
    before = rendition(out, "print/magazine")["files"]
    job = folder / "job.toml"
    job.write_text(JOB.replace("A bowl of soup", "A bowl of red soup"), encoding="utf-8")
    words = run(folder)
    assert words.rendered == 0
    assert words.rewritten > 0
    keys = ("outside_gamut", "total_ink", "heavy_ink", "ink_over", "picture_sha256")
    assert [{key: file[key] for key in keys} for file in before] == [
        {key: file[key] for key in keys} for file in rendition(out, "print/magazine")["files"]
    ]
    assert verify(out).findings == ()


def test_another_profile_under_the_same_name_makes_new_pixels(folder: Path, out: Path) -> None:
    other = bytearray(PRESS)
    other[44:48] = b"\0\0\0\1"  # a flag of its header: the same tables, but not the same profile
    (folder / "press.icc").write_bytes(bytes(other))
    assert run(folder).rendered > 0
    with Image.open(out / f"{CMYK}.tif") as opened:
        assert opened.info["icc_profile"] == bytes(other)
