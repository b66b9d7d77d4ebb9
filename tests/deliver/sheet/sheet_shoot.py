"""A small plan for the sheet's tests, as values, and ways to read the page back as a browser would."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urljoin, urlsplit

import html5lib

from pipeline.deliver.review.state import Review
from pipeline.deliver.sheet.page import sheet_html
from pipeline.frames.header import CameraFacts, Header
from pipeline.ledger.made import Made
from pipeline.light.box import WHOLE, Box, Point, Region, Size
from pipeline.plan.facts import PictureFacts
from pipeline.plan.rendition import Crop, Output, PixelSettings, Plan, PlannedFrame, Rendition

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
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


def rendition(
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
        frame="bowl-from-above",
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


HERO = rendition("hero", Box(0, 300, 6000, 3375), cautions=("the crop is tight", "the anchor is near"))
SQUARE = rendition("square", Box(900, 0, 4000, 4000), outlet="feed", reached="line", formats=("jpeg",))
PAGE = replace(
    rendition(
        "book-page", Box(1500, 100, 2700, 3800), outlet="print", trim=Region(0.02, 0.01, 0.98, 0.99), formats=("tiff",)
    ),
    effective_ppi=301.4,
)
POSTER = rendition("poster", Box(100, 100, 2000, 2800), outlet="print", refused="too small: 131 ppi, 240 wanted")


def frame(
    slug: str = "bowl-from-above", *, renditions: tuple[Rendition, ...] = (HERO, SQUARE, PAGE, POSTER)
) -> PlannedFrame:
    whole = replace(
        rendition("whole", Box(0, 0, *sides(FRAME)), outlet="sheet"),
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
        renditions=tuple(replace(one, frame=slug) for one in renditions),
        cautions=("no ICC profile: taken as sRGB",),
    )


def sides(size: Size) -> tuple[int, int]:
    return size.width, size.height


PLAN = Plan(
    job=Path("shoot/job.toml"),
    title="Tomato soup",
    slug="tomato-soup",
    date="2026-09-12",
    language="en",
    credit_line="Ada Example / kitchen.example",
    frames=(frame(), frame("bowl-and-bread", renditions=(SQUARE,))),
)


def made_all(plan: Plan, *, outside: float | None = 0.021) -> dict[str, Made]:
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    return {output.path: Made(output.path, "", "", "", "", 84_000, 0, outside) for output in outputs}


def review(plan: Plan, **changes: Any) -> Review:  # noqa: ANN401 (fields of Review)
    """Return a first round that shows every rendition of a plan, each with a key made of its name."""
    keys = {one.name: f"{at:032x}" for at, one in enumerate(plan.renditions) if one.refused is None}
    return replace(Review("ab" * 32, 1, None, keys), **changes)


def html_of(plan: Plan = PLAN, made: Mapping[str, Made] | None = None, **changes: Any) -> str:  # noqa: ANN401 (fields of Review)
    """Return her sheet of a plan; `changes` are fields of its review."""
    return sheet_html(plan, made or {}, review(plan, **changes))


def page_of(plan: Plan = PLAN, made: Mapping[str, Made] | None = None, **changes: Any) -> Element:  # noqa: ANN401 (fields of Review)
    """Return the same, parsed."""
    return parsed(html_of(plan, made, **changes))


def parsed(html: str) -> Element:
    """Parse as the HTML standard does; any parse error raises."""
    parser = html5lib.HTMLParser(namespaceHTMLElements=False, strict=True)
    page: Element = parser.parse(html)
    return page


def words(element: Element) -> str:
    """Return the text of an element, white space as single blanks."""
    return " ".join(" ".join(element.itertext()).split())


def plain(text: str) -> str:
    """Return a text with single blanks."""
    return " ".join(text.split())


def with_class(page: Element, name: str) -> list[Element]:
    """Return every element of a class."""
    return [element for element in page.iter() if name in element.get("class", "").split()]


def card_of(page: Element, one: Rendition) -> Element:
    """Return the first card of a rendition's target."""
    wanted = f"{one.outlet}/{one.target}"
    return next(element for element in page.iter("li") if element.get("data-rendition") == wanted)


def articles(page: Element) -> list[Element]:
    """Return the frames of a page."""
    return list(page.iter("article"))


def rows_of(element: Element) -> dict[str, str]:
    """Return what a list of terms says, by term."""
    return {words(row[0]): words(row[1]) for row in element}


def rectangles(path: str) -> list[tuple[float, float, float, float]]:
    """Read path data made of rectangles back as (left, top, right, bottom)."""
    found = re.findall(r"M(-?[\d.]+) (-?[\d.]+)H([\d.]+)V([\d.]+)H(-?[\d.]+)Z", path)
    assert "".join("M{} {}H{}V{}H{}Z".format(*parts) for parts in found) == path
    assert all(parts[0] == parts[4] for parts in found)
    return [(float(a), float(b), float(c), float(d)) for a, b, c, d, _ in found]


def below_output(link: str, page: str = "sheet/index.html") -> str:
    """Resolve a link as a browser does (RFC 3986) and return the path below the output folder."""
    address = urlsplit(urljoin(f"file:///out/{page}", link))
    assert (address.scheme, address.query, address.fragment) == ("file", "", "")
    return unquote(address.path).removeprefix("/out/")


def file_links(page: Element) -> list[str]:
    """Return the links that lead to files."""
    links = [link.get("href", "") for link in page.iter("a")]
    return [link for link in links if link and not link.startswith("#") and not urlsplit(link).scheme]


def style_of(page: Element) -> str:
    """Return the style sheet of a page."""
    return next(page.iter("style")).text or ""
