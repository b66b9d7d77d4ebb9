"""The contact sheet on paper, read back with Poppler's tools and with pypdf."""

from __future__ import annotations

import html
import re
import shutil
import subprocess
import sys
import time
from typing import TYPE_CHECKING, Any, Protocol

import pytest
from pypdf import PdfReader

from pipeline.cli import main
from tests.conftest import MISSING
from tests.deliver.sheet.real_shoot import FRAMES, PRIVATE, round_of, run, write_reply, write_shoot

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

weasyprint = pytest.importorskip("weasyprint", reason=MISSING + "the extra for PDFs")

from pipeline.deliver.sheet.pdf import NotOfThePage, PagePictures, sheet_pdf  # noqa: E402 (it loads the extra)

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason=MISSING + "Poppler's tools")

# Inches of ISO 216 A4 (210 x 297 mm) and of ANSI/ASME Y14.1 Letter (8.5 x 11 in), in points of 1/72 inch.
SIZES = {"a4": (210 / 25.4 * 72, 297 / 25.4 * 72), "letter": (612.0, 792.0)}
HERS, PARTNERS = "sheet/soup.pdf", "sheet/for-partner.pdf"
PARTNERS_FRAMES = [slug for _, slug, _, targets in FRAMES if any(one.startswith("partner/") for one in targets)]
ALL_FRAMES = [slug for _, slug, _, _ in FRAMES]


class Printed(Protocol):
    """The written PDFs."""

    def __call__(self, place: str, paper: str = "a4") -> Path: ...


def poppler(tool: str, *arguments: object) -> str:
    done = subprocess.run([tool, *map(str, arguments)], capture_output=True, text=True, check=True)
    assert done.stderr == ""  # a reader that has something to say of a file has found something wrong with it
    return done.stdout


def text_of(pdf: Path) -> str:
    return " ".join(poppler("pdftotext", "-layout", pdf, "-").split())


def word_boxes(pdf: Path) -> Iterator[tuple[float, float, float, float, float, float, str]]:
    """Yield each word with the size of its page and its box, in points from the top left."""
    page = (0.0, 0.0)
    for line in poppler("pdftotext", "-bbox", pdf, "-").splitlines():
        if found := re.search(r'<page width="([\d.]+)" height="([\d.]+)"', line):
            page = float(found[1]), float(found[2])
        elif found := re.search(r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">(.*)</word>', line):
            left, top, right, bottom = map(float, found.groups()[:4])
            yield (*page, left, top, right, bottom, html.unescape(found[5]))


def structure(reader: PdfReader) -> Iterator[Any]:
    """Yield every element of the structure tree (ISO 32000-1, 14.7)."""
    root: Any = reader.trailer["/Root"]
    waiting = [root["/StructTreeRoot"]["/K"]]
    while waiting:
        one = waiting.pop().get_object()
        if isinstance(one, list):
            waiting += one
        elif isinstance(one, dict) and "/S" in one:
            yield one
            waiting += [one["/K"]] if "/K" in one else []


@pytest.fixture(scope="session")
def printed(_exported: Path, tmp_path_factory: pytest.TempPathFactory) -> Printed:
    """Return `printed(place, paper)`: hers and the partner's sheet of the small shoot, written once for each paper."""
    folder = tmp_path_factory.mktemp("printed")
    shutil.copytree(_exported, folder / "shoot")
    job = folder / "shoot/job-of-my-own.toml"
    for paper in SIZES:
        for place, arguments in ((HERS, ()), (PARTNERS, ("--for", "partner"))):
            (folder / paper / "sheet").mkdir(parents=True, exist_ok=True)
            shutil.copy(written(job, place, *arguments, "--paper", paper), folder / paper / place)
    return lambda place, paper="a4": folder / paper / place


def written(job: Path, place: str, *arguments: str) -> Path:
    assert run("sheet", job, "--pdf", *arguments) == 0
    return job.parent / "out" / place


@pytest.mark.parametrize("paper", SIZES)
@pytest.mark.parametrize("place", [HERS, PARTNERS])
def test_every_page_has_the_paper_s_size_its_number_and_the_job_in_the_margin(
    printed: Printed, place: str, paper: str
) -> None:
    pdf = printed(place, paper)
    reader = PdfReader(pdf)
    count = len(reader.pages)
    assert f"Pages: {count} " in " ".join(poppler("pdfinfo", pdf).split())
    for number, page in enumerate(reader.pages, 1):
        assert [float(side) for side in page.mediabox[2:]] == pytest.approx(SIZES[paper], abs=0.01)
        said = " ".join(poppler("pdftotext", "-layout", "-f", number, "-l", number, pdf, "-").split())
        assert said.endswith(f"Tomato soup · 12 September 2026 {number} / {count}")


@pytest.mark.parametrize("paper", SIZES)
def test_nothing_is_cut_off_and_no_page_ends_in_a_sliver(printed: Printed, paper: str) -> None:
    """All words keep 5 mm from the edges, which printers need (common practice, no source); frames stay whole."""
    pdf = printed(PARTNERS, paper)
    found = list(word_boxes(pdf))
    assert len(found) > 100
    edge = 5 / 25.4 * 72
    for width, height, left, top, right, bottom, word in found:
        assert edge < left < right < width - edge, word
        assert edge < top < bottom < height - edge, word
    reader = PdfReader(pdf)
    for number in range(1, len(reader.pages) + 1):
        said = poppler("pdftotext", "-layout", "-f", number, "-l", number, pdf, "-")
        frames = len(re.findall("YOUR ANSWER TO FRAME", said))
        assert said.count("Approve") - (number == 1) == frames  # page 1 says once more how to answer
        assert len(re.findall(r"^\s*PARTNER\b", said, re.MULTILINE)) == frames


def test_a_word_without_end_stays_on_the_page(tmp_path: Path) -> None:
    job = write_shoot(tmp_path, title="x" * 300, alt="y" * 900, caption="<b>z</b>" * 60)
    assert run("sheet", job, "--pdf", "--for", "partner") == 0
    for width, _, left, _, right, _, word in word_boxes(tmp_path / "out" / PARTNERS):
        assert 0 < left < right < width, word[:20]


def test_all_frames_are_there_with_boxes_to_tick_words_and_an_outline(printed: Printed) -> None:
    pdf = printed(HERS)
    said = text_of(pdf)
    reader = PdfReader(pdf)
    outline = [one for one in reader.outline if not isinstance(one, list)]
    assert len(outline) == len(ALL_FRAMES)
    for number, slug in enumerate(ALL_FRAMES, 1):
        assert f"YOUR ANSWER TO FRAME {number}" in said
        assert f"A bowl of soup {slug}" in said
        assert str(outline[number - 1].title).startswith(f"{number} ")
    assert said.count("Leave out") == len(ALL_FRAMES) + 1
    for words in ("Caution", "Refused", "too small", "Ines Falkenrath / larder-and-light.example", "Name", "Date"):
        assert words.lower() in said.lower()
    assert "Save reply" not in said


def test_it_is_titled_tagged_and_says_its_language_and_each_picture_s_words(printed: Printed) -> None:
    reader = PdfReader(printed(PARTNERS))
    root: Any = reader.trailer["/Root"]
    assert reader.metadata is not None
    assert reader.metadata.title == "Tomato soup: contact sheet, round 1"
    assert root["/Lang"] == "en"
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 (a PDF boolean)
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712 (as above)
    figures = [one for one in structure(reader) if one["/S"] == "/Figure"]
    alts = [str(one["/Alt"]) for one in figures]
    assert len(alts) == 3 + 5  # whole frames and renditions; what is drawn on them is no content
    assert {f"A bowl of soup {slug}" for slug in PARTNERS_FRAMES} <= set(alts)
    assert {"/H1", "/H2", "/H3", "/H4", "/P", "/L", "/LI", "/Art", "/Sect"} <= {one["/S"] for one in structure(reader)}


def test_pictures_have_at_least_150_ppi_and_go_in_as_they_are(printed: Printed) -> None:
    """150 ppi: half of what a printed page is given, enough to judge a picture by (common practice, no source)."""
    for place, count in ((HERS, 4 + 11), (PARTNERS, 3 + 5)):
        rows = [row.split() for row in poppler("pdfimages", "-list", printed(place)).splitlines()[2:]]
        assert len(rows) == count
        assert {row[2] for row in rows} == {"image"}
        assert {row[8] for row in rows} == {"jpeg"}
        assert min(int(row[12]) for row in rows) >= 150


def test_the_partner_s_holds_nothing_that_is_hers(printed: Printed) -> None:
    """Looked for in what is read from it, and in every stream of it, unpacked, pictures with their metadata too."""
    hers = text_of(printed(HERS))
    pdf = printed(PARTNERS)
    reader = PdfReader(pdf)
    assert "Tomato soup" in text_of(pdf)
    content = [pdf.read_bytes(), text_of(pdf).encode(), poppler("pdfinfo", "-struct-text", pdf).encode()]
    for number in sorted(reader.xref[0]):
        one: Any = reader.get_object(number)
        if hasattr(one, "get_data"):
            content.append(one._data if one.get("/Subtype") == "/Image" else one.get_data())
    assert len([data for data in content if data.startswith(b"\xff\xd8")]) == 3 + 5
    for what, private in PRIVATE.items():
        if what not in {"note", "serial", "owner", "folder", "other outlet's file"}:  # her own shows these
            assert private.lower() in hers.lower(), what
        for data in content:
            assert private.lower().encode() not in data.lower(), what
    for said in ("Caution", "Refused", "Camera", "Keep box", "the box every crop should hold"):
        assert said.lower() not in text_of(pdf).lower()


def test_the_same_sheet_has_the_same_bytes_whatever_the_clock_says(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pdf = written(job, PARTNERS, "--for", "partner")
    first = pdf.read_bytes()
    pdf.unlink()
    later = time.time() + 400 * 86_400
    monkeypatch.setattr(time, "time", lambda: later)
    assert written(job, PARTNERS, "--for", "partner").read_bytes() == first
    assert b"/CreationDate" not in first
    assert b"/ModDate" not in first
    identifiers = PdfReader(pdf).trailer["/ID"]
    assert written(job, PARTNERS, "--for", "partner", "--paper", "letter").read_bytes() != first
    assert PdfReader(pdf).trailer["/ID"] != identifiers


def test_an_earlier_print_stands_beside_the_new_one_with_what_was_drawn(job: Path) -> None:
    page = job.parent / "out/sheet/for-partner/index.html"
    assert round_of(page)["number"] == 1
    reply = write_reply(page, job.parent / "reply.json", {"bread": ("change", "Could the spoon be out?")})
    assert main(["reply", str(job), str(reply)]) == 0
    job.write_text(job.read_text(encoding="utf-8").replace('"partner/*", "feed/square"', '"partner/proof"'), "utf-8")
    said = text_of(written(job, PARTNERS, "--for", "partner"))
    assert "Could the spoon be out?" in said
    assert "Mara Feldt" in said


def test_no_other_address_is_fetched(tmp_path: Path) -> None:
    secret = tmp_path / "secret.jpg"
    secret.write_bytes(b"\xff\xd8\xff\xd9")
    page = "<html lang=en><head><title>t</title><style></style></head><body><img alt=a src={}></body></html>"
    fetcher = PagePictures({"picture:0": ("image/jpeg", b"one")})
    assert fetcher.fetch("picture:0").read() == b"one"
    for address in (
        secret.as_uri(),
        "https://larder-and-light.example/a.jpg",
        "//larder-and-light.example/a.jpg",
        "ftp://larder-and-light.example/a.jpg",
        "data:image/png;base64,AAAA",
        "picture:1",
        str(secret),
    ):
        with pytest.raises(NotOfThePage, match="none of the pictures of this page"):
            fetcher.fetch(address)
        with pytest.raises(BaseException, match="Error fetching"):
            sheet_pdf(page.format(address), {}, "A4")


def test_without_the_extra_one_sentence_says_what_to_install(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    assert run("sheet", job, "--pdf", "--out", job.parent / "new") == 2
    said = capsys.readouterr().err
    assert "--pdf: the part of plateline that lays out a PDF is not installed" in said
    assert "pip install 'plateline[pdf]'" in said
    assert "1 fault; nothing was written" in said
    assert not (job.parent / "new").exists()


def test_without_pango_one_sentence_says_what_to_install(job: Path) -> None:
    """As on a machine where the dynamic linker finds no such library: cffi then raises OSError."""
    program = (
        "import cffi, sys\n"
        "def missing(self, name, flags=0): raise OSError(f'cannot load library {name!r}')\n"
        "cffi.FFI.dlopen = missing\n"
        "from pipeline.cli import main\n"
        "sys.exit(main(sys.argv[1:]))\n"
    )
    arguments = ["sheet", str(job), "--pdf", "--out", str(job.parent / "new")]
    done = subprocess.run([sys.executable, "-c", program, *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert done.stdout == ""
    assert "Pango, the system's library that sets type in a PDF, is missing" in done.stderr
    assert "apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0" in done.stderr
    assert len(done.stderr.splitlines()) == 2
    assert not (job.parent / "new").exists()


def test_paper_without_a_pdf_and_two_forms_at_once_are_refused(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run("sheet", job, "--paper", "letter") == 2
    assert "--paper: it names the paper of a PDF, and none is asked for; add --pdf" in capsys.readouterr().err
    with pytest.raises(SystemExit, match="2"):
        run("sheet", job, "--pdf", "--single")
    assert "not allowed with argument" in capsys.readouterr().err
