"""The contact sheet: everything of the plan is on it, nothing in it runs or asks a network, and it can be read."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from fractions import Fraction
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import unquote, urljoin, urlsplit

import html5lib
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image

from pipeline.deliver.sheet import (
    NOT_YET,
    Place,
    day_in_words,
    exposure,
    landing,
    number_places,
    sheet_html,
    weight,
)
from pipeline.frames.header import CameraFacts, Header
from pipeline.ledger.made import Made
from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.plan.facts import PictureFacts
from pipeline.plan.rendition import Crop, Output, PixelSettings, Plan, PlannedFrame, Rendition

if TYPE_CHECKING:
    from collections.abc import Iterable
    from xml.etree.ElementTree import Element

    from pipeline.plan.rendition import OutputFormat, Reached

SVG = "{http://www.w3.org/2000/svg}"
FRAME = Size(6000, 4000)
SETTINGS = PixelSettings(0.5, 0.8, 0.08, "srgb", None, (("jpeg", 85),))
FACTS = PictureFacts(
    language="en",
    title="A bowl of soup",
    description="Serve while it is hot.",
    alt="A bowl of tomato soup, seen from above.",
    creators=("Ada Example",),
    credit_line="Ada Example / kitchen.example",
    copyright="2026 Ada Example",
    licence_url="https://kitchen.example/licence",
    acquire_url="https://kitchen.example/ask",
    usage_terms="With credit, unaltered.",
)
CAMERA = CameraFacts(
    make="Ottar",
    model="Ottar K1",
    lens="Ottar 50 mm",
    exposure_s=Fraction(1, 125),
    f_number=Fraction(8),
    iso=100,
    focal_mm=Fraction(50),
    taken="2026-09-12T10:24:31+02:00",
)


def _rendition(
    target: str,
    box: Box,
    *,
    outlet: str = "blog",
    sizes: Iterable[Size] = (Size(1600, 900), Size(800, 450)),
    formats: Iterable[OutputFormat] = ("avif", "jpeg"),
    subject_at: Point = Point(1 / 3, 2 / 3),  # noqa: B008 (a frozen value)
    reached: Reached = "crossing",
    trim: Region = WHOLE,
    refused: str | None = None,
    cautions: tuple[str, ...] = (),
) -> Rendition:
    name = f"soup-bowl-{outlet}-{target}"
    outputs = tuple(
        Output(size, kind, f"{outlet}/{name}-{size.width}.{kind}", 300.0) for size in sizes for kind in formats
    )
    return Rendition(
        frame="bowl",
        outlet=outlet,
        target=target,
        about=f"What {target} is for",
        crop=Crop(box, subject_at, reached, box.size.pixels / FRAME.pixels, 0.0),
        trim=trim,
        free=(WHOLE,),
        settings=SETTINGS,
        policy="public",
        facts=FACTS,
        outputs=() if refused else outputs,
        preview=None if refused else Output(Size(640, 360), "jpeg", f"sheet/previews/{name}.jpg", 72.0),
        effective_ppi=None,
        cautions=cautions,
        refused=refused,
    )


HERO = _rendition("hero", Box(0, 300, 6000, 3375), cautions=("the crop is tight", "the anchor is near"))
SQUARE = _rendition("square", Box(900, 0, 4000, 4000), outlet="feed", reached="line", formats=("jpeg",))
PAGE = replace(
    _rendition(
        "book-page", Box(1500, 100, 2700, 3800), outlet="print", trim=Region(0.02, 0.01, 0.98, 0.99), formats=("tiff",)
    ),
    effective_ppi=301.4,
)
POSTER = _rendition("poster", Box(100, 100, 2000, 2800), outlet="print", refused="too small: 131 ppi, 240 wanted")


def _frame(
    slug: str = "bowl-from-above", *, renditions: tuple[Rendition, ...] = (HERO, SQUARE, PAGE, POSTER)
) -> PlannedFrame:
    whole = replace(
        _rendition("whole", Box(0, 0, *_sides(FRAME)), outlet="sheet"),
        outputs=(),
        preview=Output(Size(1200, 800), "jpeg", f"sheet/previews/{slug}-whole.jpg", 72.0),
    )
    return PlannedFrame(
        slug=slug,
        file=f"selects/{slug}.tif",
        path=Path("shoot/selects") / f"{slug}.tif",
        header=Header(Path("shoot/selects") / f"{slug}.tif", "tiff", FRAME, 1, 3, 16, False, None, CAMERA),  # noqa: FBT003 (alpha)
        view="overhead",
        subject=Point(0.46, 0.55),
        keep=Region(0.31, 0.30, 0.62, 0.80),
        step=3,
        facts=FACTS,
        whole=whole,
        renditions=renditions,
        cautions=("no ICC profile: taken as sRGB",),
    )


def _sides(size: Size) -> tuple[int, int]:
    return size.width, size.height


PLAN = Plan(
    job=Path("shoot/job.toml"),
    title="Tomato soup",
    slug="tomato-soup",
    date="2026-09-12",
    language="en",
    credit_line="Ada Example / kitchen.example",
    frames=(_frame(), _frame("bowl-and-bread", renditions=(SQUARE,))),
)


def _made(plan: Plan, *, outside: float | None = 0.021) -> dict[str, Made]:
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    return {output.path: Made(output.path, "", "", "", "", 84_000, 0, outside) for output in outputs}


def _page(html: str) -> Element:
    """Parse as the HTML standard does; any parse error raises."""
    parser = html5lib.HTMLParser(namespaceHTMLElements=False, strict=True)
    page: Element = parser.parse(html)
    return page


def _words(element: Element) -> str:
    return " ".join("".join(element.itertext()).split())


def _plain(text: str) -> str:
    return " ".join(text.split())


def _with_class(page: Element, name: str) -> list[Element]:
    return [element for element in page.iter() if name in element.get("class", "").split()]


def _card(page: Element, rendition: Rendition) -> Element:
    return next(element for element in page.iter("li") if element.get("data-rendition") == rendition.name)


def _articles(page: Element) -> list[Element]:
    return list(page.iter("article"))


def _rectangles(path: str) -> list[tuple[float, float, float, float]]:
    """Read path data made of rectangles back as (left, top, right, bottom)."""
    found = re.findall(r"M([\d.]+) ([\d.]+)H([\d.]+)V([\d.]+)H([\d.]+)Z", path)
    assert "".join("M{} {}H{}V{}H{}Z".format(*parts) for parts in found) == path
    assert all(parts[0] == parts[4] for parts in found)
    return [(float(a), float(b), float(c), float(d)) for a, b, c, d, _ in found]


def test_page_follows_the_html_standard() -> None:
    page = _page(sheet_html(PLAN, _made(PLAN)))
    assert page.tag == "html"
    assert page.get("lang") == "en"
    assert len(list(page.iter("h1"))) == 1
    levels = [int(element.tag[1]) for element in page.iter() if re.fullmatch(r"h[1-6]", str(element.tag))]
    assert all(below - above <= 1 for above, below in itertools.pairwise(levels))
    ids = [element.get("id") for element in page.iter() if element.get("id")]
    assert len(ids) == len(set(ids))


def test_page_of_a_plan_without_frames_stands() -> None:
    assert "Tomato soup" in _words(_page(sheet_html(replace(PLAN, frames=(), date=None, credit_line=None), {})))


def test_same_plan_gives_the_same_page() -> None:
    assert sheet_html(PLAN, _made(PLAN)) == sheet_html(PLAN, _made(PLAN))


# --- what is on it ---------------------------------------------------------------------------------------------------


def test_every_rendition_is_shown_with_its_files() -> None:
    page = _page(sheet_html(PLAN, _made(PLAN)))
    for frame, article in zip(PLAN.frames, _articles(page), strict=True):
        for rendition in frame.renditions:
            card = next(item for item in article.iter("li") if item.get("data-rendition") == rendition.name)
            text = _words(card)
            assert rendition.about in text
            assert rendition.target in text
            assert landing(rendition.crop, rendition.trim) in text
            for output in rendition.outputs:
                assert f"{output.size.width} × {output.size.height}" in text  # noqa: RUF001 (as it is set)
                assert output.format.upper() in text
            assert len(rendition.outputs) == text.count("84 kB")


def test_every_caution_and_refusal_is_shown_where_it_belongs() -> None:
    page = _page(sheet_html(PLAN, {}))
    refused = _card(page, POSTER)
    assert [_words(item) for item in _with_class(refused, "refusal")] == ["Refused too small: 131 ppi, 240 wanted"]
    assert list(refused.iter("img")) == []
    cautioned = _with_class(_card(page, HERO), "caution")
    assert [[_words(li) for li in box.iter("li")] for box in cautioned] == [["the crop is tight", "the anchor is near"]]
    for article in _articles(page):
        beside = next(iter(_with_class(article, "beside")))
        assert [_words(item) for item in _with_class(beside, "caution")] == ["Caution no ICC profile: taken as sRGB"]


def test_head_counts_what_is_planned_and_what_is_made() -> None:
    made = _made(PLAN)
    some = dict(list(made.items())[:3])
    page = _page(sheet_html(PLAN, some))
    rows = {_words(row[0]): _words(row[1]) for row in next(iter(_with_class(page, "ticket")))}
    assert {
        "Frames": "2",
        "Renditions": "4",
        "Refused": "1",
        "Files": f"3 of {len(PLAN.renditions[0].outputs) + 2 + 2 + 2} made",
        "Weight": "252 kB",
        "Cautions": "4",
        "Job": "job.toml",
        "Credit": "Ada Example / kitchen.example",
    } == rows
    assert [time.get("datetime") for time in page.iter("time")] == ["2026-09-12"]


def test_contents_name_every_frame_and_lead_to_it() -> None:
    page = _page(sheet_html(PLAN, {}))
    links = list(next(page.iter("nav")).iter("a"))
    assert [article.get("id") for article in _articles(page)] == [link.get("href", "")[1:] for link in links]
    assert [f"{n} A bowl of soup" for n in (1, 2)] == [_words(link) for link in links]


def test_frame_without_a_title_of_its_own_is_named_by_its_slug() -> None:
    for title in (None, PLAN.title):
        frame = replace(_frame(), facts=replace(FACTS, title=title))
        page = _page(sheet_html(replace(PLAN, frames=(frame,)), {}))
        assert [_words(h2) for h2 in _articles(page)[0].iter("h2")] == ["1 Bowl from above"]


def test_words_of_the_frame_are_shown() -> None:
    text = _words(_articles(_page(sheet_html(PLAN, {})))[0])
    for part in (
        *(FACTS.alt, FACTS.description, FACTS.credit_line, FACTS.copyright, FACTS.licence_url, FACTS.usage_terms),
        *("selects/bowl-from-above.tif", "overhead", "step 3", "TIFF, 16 bit", "f/8 · 1/125 s · ISO 100 · 50 mm"),
        *("Ottar K1, Ottar 50 mm", "taken 12 September 2026, 10:24"),
    ):
        assert part is not None
        assert part in text


def test_missing_words_are_said_to_be_missing() -> None:
    bare = replace(_frame(), facts=PictureFacts(language="en"))
    article = _articles(_page(sheet_html(replace(PLAN, frames=(bare,)), {})))[0]
    facts = {_words(row[0]): _words(row[1]) for row in next(iter(_with_class(article, "facts")))}
    wanted = {
        "Alt text": "not written yet",
        "Caption": "not written yet",
        "Credit": "not written yet",
        "Licence": "no address given",
    }
    assert wanted == {label: facts[label] for label in wanted}
    alt = next(article.iter("img")).get("alt")
    assert alt == "Frame 1; its alt text is not written yet"  # [WCAG] F30: a file name would be no alternative


def test_decorative_frame_has_an_empty_alternative() -> None:
    frame = replace(_frame(), facts=replace(FACTS, alt="", decorative=True))
    article = _articles(_page(sheet_html(replace(PLAN, frames=(frame,)), {})))[0]
    assert next(article.iter("img")).get("alt") == ""
    assert "left empty on purpose" in _words(article)


def test_words_carry_their_language() -> None:
    frame = replace(_frame(), facts=replace(FACTS, language="de", alt="Eine Schale Suppe."))
    page = _page(sheet_html(replace(PLAN, language="de", title="Tomatensuppe", frames=(frame,)), {}))
    assert [h1.get("lang") for h1 in page.iter("h1")] == ["de"]
    assert [dd.get("lang") for dd in page.iter("dd") if _words(dd) == "Eine Schale Suppe."] == ["de"]
    assert next(page.iter("img")).get("lang") == "de"


def test_share_outside_the_space_is_the_largest_measured() -> None:
    paths = [output.path for output in HERO.outputs]
    made = _made(PLAN, outside=None)
    assert f"sRGB, {NOT_YET}" in _words(_card(_page(sheet_html(PLAN, made)), HERO))
    assert f"sRGB, {NOT_YET}" in _words(_card(_page(sheet_html(PLAN, {})), HERO))
    for shares, words in (
        ((0.002, 0.034), "3.4 % outside sRGB"),
        ((0.0, 0.0), "nothing outside sRGB"),
        ((0.0, 0.0004), "under 0.1 % outside sRGB"),
        ((0.125, 0.0), "12 % outside sRGB"),
    ):
        known = {path: replace(made[path], outside_gamut=share) for path, share in zip(paths, shares, strict=False)}
        assert words in _words(_card(_page(sheet_html(PLAN, made | known)), HERO))


def test_paper_is_given_in_ppi_and_millimetres() -> None:
    """ISO 216: A4 is 210 x 297 mm; with 3 mm of bleed 216 x 303, at 300 ppi 2551 x 3579 pixels."""
    page_size = Output(Size(2551, 3579), "tiff", "print/a4.tif", 300.0)
    a4 = replace(PAGE, outputs=(page_size,))
    page = _page(sheet_html(replace(PLAN, frames=(_frame(renditions=(a4, SQUARE)),)), {}))
    assert "Paper 301 ppi, 216 × 303 mm" in _words(_card(page, a4))  # noqa: RUF001 (as it is set)
    assert "Paper" not in _words(_card(page, SQUARE))


@pytest.mark.parametrize(
    ("free", "words"),
    [
        ((WHOLE,), None),
        ((Region(0, 0.14, 1, 0.8),), "top 14 %, bottom 20 %"),
        ((Region(0.06, 0, 0.98, 1),), "right 2 %, left 6 %"),
        ((Region(0, 0, 0.8, 1), Region(0, 0, 1, 0.84)), "the part that will be covered"),
    ],
)
def test_parts_that_something_covers_are_said(free: tuple[Region, ...], words: str | None) -> None:
    rendition = replace(SQUARE, free=free)
    card = _card(_page(sheet_html(replace(PLAN, frames=(_frame(renditions=(rendition,)),)), {})), rendition)
    rows = {_words(row[0]): _words(row[1]) for row in next(iter(_with_class(card, "docket")))}
    assert words == rows.get("Keep off")


def test_keep_box_that_is_partly_lost_is_said() -> None:
    rendition = replace(SQUARE, crop=replace(SQUARE.crop, keep_lost=0.12))
    card = _card(_page(sheet_html(replace(PLAN, frames=(_frame(renditions=(rendition,)),)), {})), rendition)
    assert "Keep box 12 % of it lost" in _words(card)


# --- words -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("at", "reached", "words"),
    [
        (Point(1 / 3, 1 / 3), "crossing", "on the upper left crossing"),
        (Point(2 / 3, 1 / 3), "crossing", "on the upper right crossing"),
        (Point(1 / 3, 2 / 3), "crossing", "on the lower left crossing"),
        (Point(2 / 3, 2 / 3), "crossing", "on the lower right crossing"),
        (Point(1 / 3, 0.5), "line", "on the left third"),
        (Point(2 / 3, 0.9), "line", "on the right third"),
        (Point(0.1, 1 / 3), "line", "on the upper third"),
        (Point(0.52, 2 / 3), "line", "on the lower third"),
        (Point(0.5, 0.5), "point", "in the centre"),
        (Point(0.4, 0.55), "point", "on its anchor, 40 % across, 55 % down"),
        (Point(0.97, 0.4), "no", "anchor not reached: 97 % across, 40 % down"),
        (Point(1.2, 0.4), "no", "anchor not reached: outside the crop"),
    ],
)
def test_landing_is_said_in_words(at: Point, reached: Reached, words: str) -> None:
    assert words == _plain(landing(Crop(Box(0, 0, 3000, 2000), at, reached, 1.0, 0.0), WHOLE))


@given(
    width=st.integers(200, 8000),
    height=st.integers(200, 8000),
    lines=st.tuples(st.sampled_from([1, 2]), st.sampled_from([1, 2])),
    off=st.tuples(st.floats(-0.5, 0.5), st.floats(-3, 3)),
    upright=st.booleans(),
)
@example(width=200, height=8000, lines=(1, 1), off=(0.5, 2.0), upright=True)
def test_line_named_is_the_nearest_in_pixels(
    *, width: int, height: int, lines: tuple[int, int], off: tuple[float, float], upright: bool
) -> None:
    """A subject near two lines is said to be on the one that is fewer pixels away: half a pixel is what is allowed."""
    across, down = off if upright else off[::-1]
    at = Point(lines[0] / 3 + across / width, lines[1] / 3 + down / height)
    words = landing(Crop(Box(0, 0, width, height), at, "line", 1.0, 0.0), WHOLE)
    distances = {
        "on the left third": abs(at.x - 1 / 3) * width,
        "on the right third": abs(at.x - 2 / 3) * width,
        "on the upper third": abs(at.y - 1 / 3) * height,
        "on the lower third": abs(at.y - 2 / 3) * height,
    }
    assert distances[words] == pytest.approx(min(distances.values()), abs=1e-6)


@pytest.mark.parametrize(
    ("size_bytes", "words"),
    [
        (0, "0 B"),
        (999, "999 B"),
        (1000, "1.0 kB"),
        (9_949, "9.9 kB"),
        (9_951, "10 kB"),
        (84_321, "84 kB"),
        (999_499, "999 kB"),
        (999_500, "1.0 MB"),
        (31_900_000, "32 MB"),
    ],
)
def test_weight_counts_in_thousands(size_bytes: int, words: str) -> None:
    """SI Brochure, 9th edition, table 7: kilo is 10^3, mega 10^6."""
    assert words == _plain(weight(size_bytes))


@pytest.mark.parametrize(
    ("camera", "words"),
    [
        (CAMERA, "f/8 · 1/125 s · ISO 100 · 50 mm"),
        (CameraFacts(f_number=Fraction(28, 10), exposure_s=Fraction(10, 600)), "f/2.8 · 1/60 s"),
        (CameraFacts(exposure_s=Fraction(1), focal_mm=Fraction(235, 10)), "1 s · 23.5 mm"),
        (CameraFacts(exposure_s=Fraction(6, 10)), "0.6 s"),
        (CameraFacts(exposure_s=Fraction(1, 2)), "1/2 s"),
        (CameraFacts(exposure_s=Fraction(30)), "30 s"),
        (CameraFacts(exposure_s=Fraction(16_667, 1_000_000)), "1/60 s"),
        (CameraFacts(), ""),
    ],
)
def test_exposure_reads_as_photographers_write_it(camera: CameraFacts, words: str) -> None:
    assert words == _plain(exposure(camera))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("2026-09-12", "12 September 2026"),
        ("2026-01-01T00:05:59", "1 January 2026, 00:05"),
        ("2026-09-12T10:24:31+02:00", "12 September 2026, 10:24"),
        ("late summer", "late summer"),
    ],
)
def test_days_are_written_out(text: str, words: str) -> None:
    """ISO 8601 in; what is none is left alone."""
    assert words == _plain(day_in_words(text))


# --- pictures and links ----------------------------------------------------------------------------------------------


def test_pictures_have_their_true_size_and_wait_until_they_are_needed() -> None:
    page = _page(sheet_html(PLAN, {}))
    sizes = {
        rendition.preview.path: rendition.preview.size
        for frame in PLAN.frames
        for rendition in (frame.whole, *frame.renditions)
        if rendition.preview
    }
    images = list(page.iter("img"))
    assert len(images) == 2 + 4
    for image in images:
        assert image.get("alt") is not None
        size = sizes[_below_output(image.get("src", ""))]
        assert _sides(size) == (int(image.get("width", "")), int(image.get("height", "")))
    assert [None, *["lazy"] * 5] == [image.get("loading") for image in images]


def _below_output(link: str) -> str:
    """Resolve a link as a browser does (RFC 3986) and return the path below the output folder."""
    address = urlsplit(urljoin("file:///out/sheet/index.html", link))
    assert (address.scheme, address.query, address.fragment) == ("file", "", "")
    return unquote(address.path).removeprefix("/out/")


def _file_links(page: Element) -> list[str]:
    links = [link.get("href", "") for link in page.iter("a")]
    return [link for link in links if not link.startswith("#") and not urlsplit(link).scheme]


def test_finals_are_linked_once_they_are_made() -> None:
    made = _made(PLAN)
    assert set(made) == {_below_output(link) for link in _file_links(_page(sheet_html(PLAN, made)))}
    page = _page(sheet_html(PLAN, {}))
    assert _file_links(page) == []
    assert _words(_card(page, HERO)).count("not yet") == len(HERO.outputs)


def test_links_survive_any_name() -> None:
    odd = "blog/a b#c?d%e&f:g+é'\".jpg"
    rendition = replace(
        SQUARE,
        outputs=(replace(SQUARE.outputs[0], path=odd),),
        preview=Output(Size(640, 640), "jpeg", "sheet/javascript:previews?.jpg", 72.0),
    )
    plan = replace(PLAN, frames=(_frame(renditions=(rendition,)),))
    page = _page(sheet_html(plan, _made(plan)))
    assert [odd] == [_below_output(link) for link in _file_links(page)]
    assert "sheet/javascript:previews?.jpg" in [_below_output(image.get("src", "")) for image in page.iter("img")]


@pytest.mark.parametrize("path", ["../elsewhere.jpg", "blog/../../elsewhere.jpg", "/etc/elsewhere.jpg", ""])
def test_path_that_leaves_the_output_folder_is_not_linked(path: str) -> None:
    rendition = replace(SQUARE, outputs=(replace(SQUARE.outputs[0], path=path),))
    with pytest.raises(ValueError, match="not a path below the output folder"):
        sheet_html(replace(PLAN, frames=(_frame(renditions=(rendition,)),)), {})


def test_every_link_within_the_page_has_its_end() -> None:
    page = _page(sheet_html(PLAN, {}))
    ids = {element.get("id") for element in page.iter()}
    inner = [link.get("href", "")[1:] for link in page.iter() if link.get("href", "").startswith("#")]
    assert inner
    assert set(inner) <= ids


# --- drawing ---------------------------------------------------------------------------------------------------------


def test_crops_are_drawn_in_the_frame_s_pixels() -> None:
    article = _articles(_page(sheet_html(PLAN, {})))[0]
    drawing = next(element for element in article.iter(f"{SVG}svg") if element.get("viewBox"))
    assert drawing.get("viewBox") == "0 0 6000 4000"
    crops = _with_class(drawing, "crop")
    assert len(crops) == len(PLAN.frames[0].renditions)
    for crop, rendition in zip(crops, (HERO, SQUARE, PAGE, POSTER), strict=True):
        paths = {path.get("class"): path.get("d", "") for path in crop.iter(f"{SVG}path")}
        box = rendition.crop.box
        edges = (box.left, box.top, box.right, box.bottom)
        [trim] = _rectangles(paths["trim"])
        assert [(0, 0, 6000, 4000), edges] == _rectangles(paths["shade"])
        if rendition is PAGE:
            assert [edges] == _rectangles(paths["bleed"])
            assert trim == pytest.approx((1500 + 54, 100 + 38, 4200 - 54, 3900 - 38))
        else:
            assert trim == edges
            assert "bleed" not in paths
        left, top, right, bottom = trim
        lines = re.findall(r"M([\d.]+) ([\d.]+)([VH])([\d.]+)", paths["thirds"])
        drawn = [(kind, *map(float, (x, y, end))) for x, y, kind, end in lines]
        wanted = [("V", left + k * (right - left) / 3, top, bottom) for k in (1, 2)]
        wanted += [("H", left, top + k * (bottom - top) / 3, right) for k in (1, 2)]
        for (kind, *numbers), (wanted_kind, *wanted_numbers) in zip(drawn, wanted, strict=True):
            assert wanted_kind == kind
            assert wanted_numbers == pytest.approx(numbers, abs=0.006)
    [keep] = _with_class(drawing, "keep")
    assert _rectangles(keep.get("d", "")) == [(1860, 1200, 3720, 3200)]


def test_subject_is_marked_on_the_frame() -> None:
    article = _articles(_page(sheet_html(PLAN, {})))[0]
    numbers = next(iter(_with_class(article, "numbers")))
    [cross] = _with_class(numbers, "subject")
    assert (cross.get("x"), cross.get("y")) == ("46%", "55%")


def test_subject_of_a_crop_s_own_is_marked_with_that_crop() -> None:
    same = replace(SQUARE, crop=replace(SQUARE.crop, subject_at=Point((2760 - 900) / 4000, 0.55)))
    other = replace(HERO, crop=replace(HERO.crop, subject_at=Point(0.25, 0.5)))
    article = _articles(_page(sheet_html(replace(PLAN, frames=(_frame(renditions=(same, other)),)), {})))[0]
    [cross] = _with_class(article, "own")
    assert "c2" in cross.get("class", "").split()
    assert float(cross.get("x", "").rstrip("%")) == pytest.approx(25)
    assert float(cross.get("y", "").rstrip("%")) == pytest.approx(100 * (300 + 3375 / 2) / 4000, abs=0.006)


@pytest.mark.parametrize(
    ("free", "covered_share"),
    [
        ((WHOLE,), 0.0),
        ((Region(0, 0.14, 1, 0.8),), 0.34),
        ((Region(0, 0, 0.8, 1), Region(0, 0, 1, 0.84)), 0.2 * 0.16),
    ],
)
def test_covered_part_is_the_trim_without_the_free_parts(free: tuple[Region, ...], covered_share: float) -> None:
    rendition = replace(SQUARE, free=free)
    article = _articles(_page(sheet_html(replace(PLAN, frames=(_frame(renditions=(rendition,)),)), {})))[0]
    crop = next(iter(_with_class(article, "crop")))
    drawn = [box for path in crop if path.get("class") == "covered" for box in _rectangles(path.get("d", ""))]
    area = sum((right - left) * (bottom - top) for left, top, right, bottom in drawn)
    assert area == pytest.approx(covered_share * 4000 * 4000, rel=1e-4)


def test_numbers_on_the_picture_lead_to_their_renditions() -> None:
    html = sheet_html(PLAN, {})
    article = _articles(_page(html))[0]
    cards = {card.get("id"): card for card in _with_class(article, "card")}
    tags = _with_class(article, "tag")
    assert [_words(tag) for tag in tags] == ["1", "2", "3"]  # what is refused is not cut
    for tag, rendition in zip(tags, (HERO, SQUARE, PAGE), strict=True):
        card = cards[tag.get("href", "")[1:]]
        assert rendition.name == card.get("data-rendition")
        assert tag.get("aria-label") == f"{_words(tag)}, {rendition.name}"
        assert f".n{_words(tag)}:hover" in html
    assert [_words(card.find(".//h4")[0]) for card in cards.values()] == ["1", "2", "3", "4"]  # type: ignore[index]


def test_renditions_of_one_frame_are_shown_at_one_scale() -> None:
    html = sheet_html(PLAN, {})
    article = _articles(_page(html))[0]
    widths = []
    for rendition in (HERO, SQUARE, PAGE, POSTER):
        shown = next(iter(_with_class(_card(article, rendition), "print"))).get("class", "")
        widths.append(int(re.findall(r"\bw(\d+)\b", shown)[0]))
        assert f".w{widths[-1]}{{--w:{widths[-1]}}}" in html
    assert widths == [240, 160, 108, 80]  # 6000, 4000, 2700 and 2000 source pixels


def test_renditions_are_grouped_by_outlet() -> None:
    article = _articles(_page(sheet_html(PLAN, {})))[0]
    groups = {
        _words(section[0]): [item.get("data-rendition") for item in _with_class(section, "card")]
        for section in article.iter("section")
    }
    assert {"blog": [HERO.name], "feed": [SQUARE.name], "print": [PAGE.name, POSTER.name]} == groups


boxes = st.builds(
    lambda left, top, width, height: Box(left, top, min(width, 6000 - left), min(height, 4000 - top)),
    st.integers(0, 4800),
    st.integers(0, 3200),
    st.integers(600, 6000),
    st.integers(600, 4000),
)


@given(st.lists(boxes, max_size=14))
def test_each_number_stands_inside_its_box_on_an_edge(cut: list[Box]) -> None:
    for box, place in zip(cut, number_places(cut, FRAME, Point(0.5, 0.5)), strict=True):
        x, y = place.at.x * FRAME.width, place.at.y * FRAME.height
        assert box.left - 0.01 <= x <= box.right + 0.01
        assert box.top - 0.01 <= y <= box.bottom + 0.01
        edges = [(x, box.right if place.from_right else box.left), (y, box.bottom if place.from_bottom else box.top)]
        assert any(at == pytest.approx(edge) for at, edge in edges)


@given(st.integers(1, 14), st.sampled_from([Size(6000, 4000), Size(4000, 6000), Size(3000, 3000)]))
def test_numbers_of_equal_boxes_do_not_hide_each_other(count: int, frame: Size) -> None:
    places = number_places([Box(0, 0, frame.width, frame.height)] * count, frame, Point(0.5, 0.5))
    footprints = [_footprint(place, frame) for place in places]
    for index, (left, top, right, bottom) in enumerate(footprints):
        assert left >= -1e-9
        assert right <= 1 + 1e-9
        for other in footprints[:index]:
            assert (
                left >= other[2] - 1e-9
                or other[0] >= right - 1e-9
                or top >= other[3] - 1e-9
                or other[1] >= bottom - 1e-9
            )


def _footprint(place: Place, frame: Size) -> tuple[float, float, float, float]:
    """Return what a number of 24 px covers on a picture 288 px wide, the narrowest there is, as fractions."""
    width, height = 24 / 288, 24 / 288 * frame.width / frame.height
    left, top = place.at.x - width * place.from_right, place.at.y - height * place.from_bottom
    return left, top, left + width, top + height


# --- safety ----------------------------------------------------------------------------------------------------------

HOSTILE = [
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "' onmouseover='alert(1)",
    "</style></title></textarea><script>alert(1)</script>",
    "--><svg onload=alert(1)>",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "data:text/html,<script>alert(1)</script>",
    "//elsewhere.example/x.png",
    "&lt;b&gt;&amp;amp;",
    "\u202egnp.elif \u2067\u05e9\u05dc\u05d5\u05dd",
    "\N{POT OF FOOD}\N{ZERO WIDTH JOINER}\N{LEAF FLUTTERING IN WIND}",
    "a" * 10_000,
    "nul \x00, escape \x1b, vertical tab \x0b, half a pair \ud83c, none \uffff",
]


def _filled_with(text: str) -> Plan:
    """Return a plan in which every field that comes from outside holds `text`."""
    facts = PictureFacts(
        language="en",
        title=text,
        description=text,
        alt=text,
        creators=(text,),
        credit_line=text,
        copyright=text,
        licence_url=text,
        acquire_url=text,
        usage_terms=text,
        keywords=(text,),
    )
    shown = replace(HERO, outlet=text, target=text, about=text, cautions=(text,), frame=text, facts=facts)
    shown = replace(shown, settings=replace(SETTINGS, mark=text, colour=text))
    refused = replace(POSTER, outlet=text, target=text + " too", about=text, refused=text)
    frame = _frame(renditions=(shown, refused))
    camera = replace(CAMERA, make=text, model=text, lens=text, taken=text)
    frame = replace(
        frame,
        file=text,
        slug=text,
        view=text,
        facts=facts,
        cautions=(text,),
        header=replace(frame.header, camera=camera),
    )
    return replace(PLAN, job=Path(text.replace("\x00", "")), title=text, date=text, credit_line=text, frames=(frame,))


def _shape(page: Element) -> list[tuple[str, list[str]]]:
    """Return the page's elements and the names of their attributes: what words must not be able to change."""
    return [(str(element.tag), sorted(element.keys())) for element in page.iter()]


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_words_are_shown_as_words(text: str) -> None:
    html = sheet_html(_filled_with(text), _made(_filled_with(text)))
    html.encode("utf-8")
    page = _page(html)
    assert _shape(_page(sheet_html(_filled_with("words"), _made(_filled_with("words"))))) == _shape(page)
    shown = re.sub(r"[\x00-\x08\x0b-\x1f\ud800-\udfff\uffff]", "\N{REPLACEMENT CHARACTER}", text)
    body = page.find("body")
    assert body is not None
    assert "".join(body.itertext()).count(shown) >= 20
    assert next(page.iter("img")).get("alt") == shown
    assert not re.search("[\x00-\x08\x0b-\x1f]", html)


@pytest.mark.parametrize(
    "text", ["javascript:alert(1)", "data:text/html,x", "//elsewhere.example", "http://[", "ftp://x.example/"]
)
def test_only_web_addresses_become_links(text: str) -> None:
    frame = replace(_frame(), facts=replace(FACTS, licence_url=text, acquire_url=text))
    page = _page(sheet_html(replace(PLAN, frames=(frame,)), {}))
    assert [link.get("href") for link in page.iter("a") if not link.get("href", "").startswith("#")] == []
    assert text in _words(page)


def test_addresses_of_licences_are_the_only_way_out() -> None:
    page = _page(sheet_html(PLAN, _made(PLAN)))
    away = [link for link in page.iter("a") if urlsplit(link.get("href", "")).scheme]
    assert {FACTS.licence_url, FACTS.acquire_url} == {link.get("href") for link in away}
    assert {"noopener noreferrer"} == {link.get("rel") for link in away}


def test_page_asks_no_network_for_anything() -> None:
    html = sheet_html(PLAN, _made(PLAN))
    page = _page(html)
    fetching = [
        "script",
        "link",
        "iframe",
        "object",
        "embed",
        "audio",
        "video",
        "source",
        "base",
        "form",
        f"{SVG}image",
    ]
    assert [element.tag for element in page.iter() if element.tag in fetching] == []
    loaded = re.findall(r"""\b(?:src|srcset|poster|data|action|background)\s*=\s*["']?([^"'\s>]*)""", html)
    assert loaded
    assert all(not urlsplit(link).scheme and not link.startswith("//") for link in loaded)
    uses = [use.get("href", "") for use in page.iter(f"{SVG}use")]
    assert {"#cross"} == set(uses)
    style = next(page.iter("style")).text or ""
    assert not re.search(r"url\s*\(|@import|image-set|expression", style, re.IGNORECASE)


def test_policy_lets_in_this_style_and_nothing_else() -> None:
    """CSP Level 3, 2.3.1 and 8.4: the source is sha256 over the element's text as UTF-8, in base64."""
    html = sheet_html(_filled_with("Crème & co"), {})
    page = _page(html)
    [policy] = [meta.get("content", "") for meta in page.iter("meta") if meta.get("http-equiv")]
    rules = {name: sources for name, *sources in (part.split() for part in policy.split(";"))}
    [style] = page.iter("style")
    digest = base64.b64encode(hashlib.sha256((style.text or "").encode()).digest()).decode()
    assert rules["default-src"] == ["'none'"]
    assert [f"'sha256-{digest}'"] == rules["style-src"]
    assert rules["img-src"] == ["'self'", "file:", "data:"]
    assert {"default-src", "img-src", "style-src", "base-uri", "form-action"} == set(rules)
    assert html.index("Content-Security-Policy") < html.index("<style>")
    assert [element for element in page.iter() if element.get("style") is not None] == []
    assert [name for element in page.iter() for name in element.keys() if name.startswith("on")] == []  # noqa: SIM118


def test_printed_margin_carries_the_title_whatever_it_holds() -> None:
    """Read the string back by the rules of CSS Syntax Level 3, 4.3.7: up to six hex digits and one white space."""
    title = 'Soup "à la"</style> \\ \N{POT OF FOOD} 7'
    style = next(_page(sheet_html(replace(PLAN, title=title), {})).iter("style")).text or ""
    [content] = re.findall(r'@bottom-left\{content:"([^"]*)"\}', style)
    read = re.sub(r"\\([0-9a-f]{1,6}) ", lambda found: chr(int(found[1], 16)), content)
    assert f"{title} · 12 September 2026" == read.replace("\N{NO-BREAK SPACE}", " ")


# --- light, dark, print ----------------------------------------------------------------------------------------------


def _luminance(colour: str) -> float:
    """Relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    digits = colour.lstrip("#")
    digits = "".join(2 * digit for digit in digits) if len(digits) == 3 else digits
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _style_text() -> str:
    return (resources.files("pipeline.deliver.templates") / "sheet.css").read_text(encoding="utf-8")


def _palettes() -> dict[str, dict[str, str]]:
    """Return the colours of each scheme by name, as the style sheet cascades them."""
    blocks = [
        dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{3,6});", block))
        for block in re.findall(r":root \{(.*?)\}", _style_text(), re.DOTALL)
    ]
    light, dark, paper = (block for block in blocks if block)
    return {"light": light, "dark": light | dark, "print": light | dark | paper}


def test_contrast_is_computed_as_published() -> None:
    """Worked values of the WCAG formula: black on white 21, #767676 on white 4.54, #777777 4.48, #949494 3.03."""
    for colour, ratio in (("#000", 21.0), ("#767676", 4.5422), ("#777777", 4.4781), ("#949494", 3.0335)):
        assert ratio == pytest.approx(_contrast(colour, "#fff"), abs=5e-5)


@pytest.mark.parametrize("scheme", ["light", "dark", "print"])
@pytest.mark.parametrize(
    ("ink", "ground"), [("ink", "paper"), ("soft", "paper"), ("paper", "ink"), ("label-ink", "label"), ("ink", "card")]
)
def test_text_reaches_the_contrast_of_wcag_aa(scheme: str, ink: str, ground: str) -> None:
    """WCAG 2.2, 1.4.3: 4.5:1 for text of any size (and so the 3:1 of 1.4.11 for the focus ring, drawn in ink)."""
    palette = _palettes()[scheme]
    assert _contrast(palette[ink], palette[ground]) >= 4.5


def test_lines_on_a_photograph_differ_from_their_edge() -> None:
    """A white line with a dark edge is seen on any picture: WCAG 2.2, 1.4.11 asks 3:1 of neighbouring colours."""
    for palette in _palettes().values():
        assert _contrast(palette["mark"], palette["halo"]) >= 3


def test_style_takes_every_colour_from_the_palette() -> None:
    rules = re.sub(r"/\*.*?\*/|--[a-z-]+:[^;]*;", "", _style_text(), flags=re.DOTALL)
    assert re.findall(r"#[0-9a-f]{3,8}\b|\b(?:rgb|hsl|lab|lch|oklab|oklch|color)a?\(", rules) == []
    used = set(re.findall(r"(?:color|fill|stroke|background|outline|border[a-z-]*):[^;]*?var\(--([a-z-]+)\)", rules))
    assert used == {"paper", "ink", "soft", "rule", "card", "mark", "halo", "label", "label-ink"}


def test_photographs_alone_have_colour() -> None:
    """Paper and ink: every colour of the palette is nearly grey (its channels within 20 of each other, 8 bit)."""
    for palette in _palettes().values():
        for colour in palette.values():
            digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
            channels = [int(digits[at : at + 2], 16) for at in (0, 2, 4)]
            assert max(channels) - min(channels) <= 20


# --- start-up and a real browser -------------------------------------------------------------------------------------


def test_template_engine_is_loaded_only_when_a_sheet_is_made() -> None:
    code = "import sys, pipeline.deliver.sheet; print(sorted({'jinja2', 'markupsafe', 'lxml'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "[]\n"


@pytest.fixture(scope="module")
def chromium() -> str:
    command = shutil.which("chromium")
    if command is None:
        pytest.skip("judge missing: chromium")
    return command


def _screenshot(chromium: str, html: str, folder: Path) -> Image.Image:
    """Write the page and its previews, all in one colour of their own, and return what the browser shows from disk."""
    for frame in PLAN.frames:
        for rendition in (frame.whole, *frame.renditions):
            if rendition.preview:
                file = folder / rendition.preview.path
                file.parent.mkdir(parents=True, exist_ok=True)
                Image.new("RGB", _sides(rendition.preview.size), (200, 40, 160)).save(file, quality=95)
    (folder / "sheet/index.html").write_text(html, encoding="utf-8")
    shot = folder / "shot.png"
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--window-size=1000,1400"]
    options += [f"--user-data-dir={folder / 'browser'}", f"--screenshot={shot}"]
    subprocess.run(
        [chromium, *options, (folder / "sheet/index.html").as_uri()], capture_output=True, check=True, timeout=60
    )
    with Image.open(shot) as image:
        return image.convert("RGB")


def _near(colour: tuple[int, int, int], image: Image.Image) -> float:
    """Return the share of pixels within 12 levels of a colour."""
    data = image.tobytes()
    pixels = zip(data[0::3], data[1::3], data[2::3], strict=True)
    hits = sum(all(abs(a - b) <= 12 for a, b in zip(pixel, colour, strict=True)) for pixel in pixels)
    return hits / (image.width * image.height)


def test_browser_shows_style_and_pictures_from_disk_under_the_policy(chromium: str, tmp_path: Path) -> None:
    html = sheet_html(PLAN, _made(PLAN))
    shown = _screenshot(chromium, html, tmp_path / "as-made")
    assert shown.getpixel((3, 3)) == (253, 252, 248)  # --paper: the style was let in
    assert _near((200, 40, 160), shown) > 0.1  # the pictures were let in
    spoiled = _screenshot(chromium, html.replace("--gap:", "--gap :", 1), tmp_path / "spoiled")
    assert shown.getpixel((3, 3)) != spoiled.getpixel((3, 3))  # one character off the digest, and the style is kept out
