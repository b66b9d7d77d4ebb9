"""The contact sheet: one self-contained page that shows a plan, frame by frame, in pictures and words.

The page lies in `sheet/` below the output folder and links to pictures there and to the finals beside it. It
asks no network for anything, runs no script, and its style is allowed by digest alone. Everything that came
from a file is escaped; the words are for the photographer, who should not have to know a code.
"""

from __future__ import annotations

import base64
import hashlib
import itertools
import posixpath
import re
from dataclasses import dataclass
from datetime import date, datetime
from typing import TYPE_CHECKING
from urllib.parse import quote, urlsplit

from pipeline.deliver.pages import package_text, rendered
from pipeline.deliver.printable import printable
from pipeline.light.box import Box, Point, Region, Size

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from fractions import Fraction

    from pipeline.frames.header import CameraFacts
    from pipeline.ledger.made import Made
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Crop, Output, Plan, PlannedFrame, Rendition

FOLDER = "sheet"
NOT_YET = "not measured yet"

# The longest side of the largest crop of a frame, in units of 1/240 of a column of the style sheet.
_SCALE_UNITS = 240
# A number on the frame's picture is 25 CSS px wide (WCAG 2.2, 2.5.8 asks for 24) and must find room where the
# picture is narrowest: 288 px, on a page of 320.
_TAG_SHARE = 25 / 288
_NBSP = "\N{NO-BREAK SPACE}"
_TIMES = "\N{MULTIPLICATION SIGN}"
_MONTHS = (
    "January February March April May June July August September October November December".split()  # noqa: SIM905 (a table)
)
_SPACES = {"srgb": "sRGB", "adobe-rgb": "Adobe RGB", "display-p3": "Display P3"}
# Something numbered is under the pointer, or holds the keyboard's focus.
_LOOKED_AT = ".numbered:hover,.numbered:focus-visible,.numbered :focus-visible"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a number stands: a point of the picture (fractions), and which corner of the number is put there."""

    at: Point
    from_right: bool = False
    from_bottom: bool = False


@dataclass(frozen=True, slots=True)
class _Picture:
    """A preview: its link from the page, its true size in pixels, its alternative text."""

    link: str
    size: Size
    alt: str


@dataclass(frozen=True, slots=True)
class _Cross:
    """The subject, in per cent of the picture it is drawn on."""

    x: str
    y: str


@dataclass(frozen=True, slots=True)
class _Drawing:
    """SVG path data of one crop, in pixels of the picture it is drawn on; "" where there is nothing to draw."""

    trim: str
    bleed: str
    shade: str
    thirds: str
    covered: str
    cross: _Cross | None


@dataclass(frozen=True, slots=True)
class _Tag:
    """A number on the frame's picture, linked to its rendition; the offsets are in tag widths."""

    x: str
    y: str
    from_right: bool
    from_bottom: bool


@dataclass(frozen=True, slots=True)
class _Cell:
    """One file in the table of a rendition: its format, its link (None until it is made), its weight in words."""

    format: str
    link: str | None
    weight: str


@dataclass(frozen=True, slots=True)
class _Row:
    """The files of one pixel size, a cell a format (None where there is none)."""

    pixels: str
    cells: tuple[_Cell | None, ...]


@dataclass(frozen=True, slots=True)
class _Card:
    """One rendition as the page shows it. `units` is its width at the frame's one scale."""

    number: int
    anchor: str
    name: str
    target: str
    about: str
    units: int
    size: Size
    picture: _Picture | None
    on_frame: _Drawing
    on_print: _Drawing
    tag: _Tag | None
    rows: tuple[tuple[str, str], ...]
    formats: tuple[str, ...]
    files: tuple[_Row, ...]
    cautions: tuple[str, ...]
    refused: str | None


@dataclass(frozen=True, slots=True)
class _Entry:
    """One frame as the page shows it. `ratio` is its width in per cent of its height."""

    number: int
    anchor: str
    heading: str
    slug: str
    file: str
    language: str
    about: str
    camera: tuple[str, ...]
    counts: str
    size: Size
    ratio: int
    picture: _Picture | None
    halo: str
    keep: str
    cross: _Cross
    facts: PictureFacts
    credit: str
    licence: str | None
    acquire: str | None
    outlets: tuple[tuple[str, tuple[_Card, ...]], ...]
    cautions: tuple[str, ...]

    @property
    def cards(self) -> tuple[_Card, ...]:
        """Return the renditions in the order of their numbers."""
        return tuple(card for _, cards in self.outlets for card in cards)


def sheet_html(plan: Plan, made: Mapping[str, Made]) -> str:
    """Return the contact sheet of `plan` as one HTML page, to be written to `sheet/index.html` as UTF-8.

    `made` holds what the ledger knows, by the file's path below the output folder; what it does not hold is
    shown as not made and not measured yet. Pure: the same arguments give the same page. Raises ValueError for
    a preview or output whose path would leave the output folder.
    """
    entries = tuple(_entry(number, frame, plan.title, made) for number, frame in enumerate(plan.frames, 1))
    style = _style(plan, entries)
    return rendered(
        "sheet.html",
        title=plan.title,
        language=plan.language,
        date=day_in_words(plan.date) if plan.date else None,
        date_code=plan.date if plan.date and _is_day(plan.date) else None,
        summary=_summary(plan, made),
        entries=entries,
        style=style,
        policy=f"default-src 'none'; img-src 'self' file: data:; style-src '{_digest(style)}'; base-uri 'none'; "
        "form-action 'none'",
    )


# --- words -----------------------------------------------------------------------------------------------------------


def landing(crop: Crop, trim: Region) -> str:
    """Return where the subject lands in the trim, in words ("on the upper right crossing")."""
    x, y = crop.subject_at.x, crop.subject_at.y
    across, down = ("left", "right")[x > 1 / 2], ("upper", "lower")[y > 1 / 2]
    match crop.reached:
        case "crossing":
            return f"on the {down} {across} crossing"
        case "line":
            width = (trim.right - trim.left) * crop.box.width
            height = (trim.bottom - trim.top) * crop.box.height
            nearer_upright = abs(abs(x - 1 / 2) - 1 / 6) * width <= abs(abs(y - 1 / 2) - 1 / 6) * height
            return f"on the {across if nearer_upright else down} third"
        case "point":
            place = f"{_share(x)} across, {_share(y)} down"
            return "in the centre" if place == f"50{_NBSP}% across, 50{_NBSP}% down" else f"on its anchor, {place}"
        case "no":
            if 0 <= x <= 1 and 0 <= y <= 1:
                return f"anchor not reached: {_share(x)} across, {_share(y)} down"
            return "anchor not reached: outside the crop"


def weight(size_bytes: int) -> str:
    """Return bytes in decimal units (SI: 1 kB is 1000 bytes), two or three figures."""
    if size_bytes < 1000:
        return f"{size_bytes}{_NBSP}B"
    if size_bytes < 999_500:
        return f"{_figures(size_bytes / 1000)}{_NBSP}kB"
    return f"{_figures(size_bytes / 1e6)}{_NBSP}MB"


def exposure(camera: CameraFacts) -> str:
    """Return aperture, shutter, sensitivity and focal length on one line, as far as they are known."""
    parts = (
        f"f/{_plain(camera.f_number)}" if camera.f_number else "",
        f"{_shutter(camera.exposure_s)}{_NBSP}s" if camera.exposure_s else "",
        f"ISO{_NBSP}{camera.iso}" if camera.iso else "",
        f"{_plain(camera.focal_mm)}{_NBSP}mm" if camera.focal_mm else "",
    )
    return " · ".join(part for part in parts if part)


def day_in_words(text: str) -> str:
    """Return an ISO 8601 day or time as "12 September 2026" or "12 September 2026, 10:24"; other text as it is."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    day = f"{moment.day}{_NBSP}{_MONTHS[moment.month - 1]} {moment.year}"
    return day if _is_day(text) else f"{day}, {moment:%H:%M}"


def _is_day(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _figures(number: float) -> str:
    return f"{number:.1f}" if number < 9.95 else f"{number:.0f}"


def _plain(number: Fraction) -> str:
    return f"{float(number):.1f}".removesuffix(".0")


def _shutter(seconds: Fraction) -> str:
    """Return a shutter time as a camera's display writes it: 1/125, 0.6, 2 (common practice, no source)."""
    if seconds.numerator == 1 and seconds.denominator > 1:
        return f"1/{seconds.denominator}"
    return f"1/{round(1 / seconds)}" if seconds < 3 / 10 else _plain(seconds)


def _share(fraction: float) -> str:
    return f"{100 * fraction:.0f}{_NBSP}%"


def _fine_share(fraction: float) -> str:
    """Return a share so that "nothing" and "all" are said only where they are true."""
    if fraction in (0, 1):
        return ("nothing", "all")[fraction == 1]
    if fraction < 0.001:
        return f"under 0.1{_NBSP}%"
    if fraction < 0.0995:
        return f"{100 * fraction:.1f}{_NBSP}%"
    return _share(fraction) if fraction < 0.995 else f"over 99{_NBSP}%"


def _count(number: int, noun: str) -> str:
    return f"{number}{_NBSP}{noun}" if number == 1 else f"{number}{_NBSP}{noun}s"


def _pixels(size: Size) -> str:
    return f"{size.width}{_NBSP}{_TIMES}{_NBSP}{size.height}"


def _words(slug: str) -> str:
    words = slug.replace("-", " ").strip()
    return words[:1].upper() + words[1:]


# --- the head --------------------------------------------------------------------------------------------------------


def _summary(plan: Plan, made: Mapping[str, Made]) -> tuple[tuple[str, str], ...]:
    """Return the lines of the docket at the head of the page: what, and how much of it."""
    outputs = [output for rendition in plan.renditions for output in rendition.outputs]
    done = [made[output.path].size_bytes for output in outputs if output.path in made]
    refused = sum(rendition.refused is not None for rendition in plan.renditions)
    cautions = sum(len(frame.cautions) for frame in plan.frames)
    cautions += sum(len(rendition.cautions) for rendition in plan.renditions)
    files = f"{len(outputs)}" if len(done) == len(outputs) else f"{len(done)} of {len(outputs)} made"
    rows = (
        ("Frames", f"{len(plan.frames)}"),
        ("Renditions", f"{len(plan.renditions) - refused}"),
        ("Refused", f"{refused}" if refused else "none"),
        ("Files", files),
        ("Weight", weight(sum(done)) if done else ""),
        ("Cautions", f"{cautions}" if cautions else "none"),
        ("Job", plan.job.name),
        ("Credit", plan.credit_line or ""),
    )
    return tuple((label, value) for label, value in rows if value)


# --- one frame -------------------------------------------------------------------------------------------------------


def _entry(number: int, frame: PlannedFrame, shoot: str, made: Mapping[str, Made]) -> _Entry:
    size = frame.whole.crop.box.size
    groups: dict[str, list[Rendition]] = {}
    for rendition in frame.renditions:
        groups.setdefault(rendition.outlet, []).append(rendition)
    ordered = [rendition for group in groups.values() for rendition in group]
    cut = [rendition for rendition in ordered if rendition.refused is None]
    places = dict(zip((rendition.name for rendition in cut), _places(cut, frame, size), strict=True))
    longest = max((max(r.crop.box.width, r.crop.box.height) for r in ordered), default=1)
    cards = iter(
        _card(number, index, rendition, frame, places.get(rendition.name), _SCALE_UNITS / longest, made)
        for index, rendition in enumerate(ordered, 1)
    )
    keep = _region_path(frame.keep, size) if frame.keep else ""
    return _Entry(
        number=number,
        anchor=f"frame-{number}",
        heading=_heading(frame, shoot),
        slug=frame.slug,
        file=frame.shown_file,
        language=frame.facts.language,
        about=_about_frame(frame),
        camera=_camera_lines(frame.header.camera),
        counts=_frame_counts(frame),
        size=size,
        ratio=max(1, round(100 * size.width / size.height)),
        picture=_picture(frame.whole.preview, _frame_alt(number, frame.facts)),
        halo="".join(_box_path(_trim(rendition)) for rendition in cut) + keep,
        keep=keep,
        cross=_cross(frame.subject),
        facts=frame.facts,
        credit=frame.facts.credit_line or ", ".join(frame.facts.creators),
        licence=_web_address(frame.facts.licence_url),
        acquire=_web_address(frame.facts.acquire_url),
        outlets=tuple((outlet, tuple(next(cards) for _ in group)) for outlet, group in groups.items()),
        cautions=frame.cautions,
    )


def _heading(frame: PlannedFrame, shoot: str) -> str:
    """Return what the frame is called: its own title, else its slug in words (the shoot's title says nothing of it)."""
    title = frame.facts.title
    return title if title and title != shoot else _words(frame.slug)


def _about_frame(frame: PlannedFrame) -> str:
    header = frame.header
    kind = "camera raw" if header.format == "raw" else header.format.upper()
    parts = (
        frame.view,
        f"step {frame.step}" if frame.step is not None else None,
        _pixels(header.size),
        kind if header.format == "raw" else f"{kind}, {header.bits} bit",
    )
    return " · ".join(part for part in parts if part)


def _camera_lines(camera: CameraFacts) -> tuple[str, ...]:
    body = " ".join(part for part in (camera.make, camera.model) if part)
    if camera.make and camera.model and camera.model.lower().startswith(camera.make.lower()):
        body = camera.model
    lines = (
        exposure(camera),
        ", ".join(part for part in (body, camera.lens) if part),
        f"taken {day_in_words(camera.taken)}" if camera.taken else "",
    )
    return tuple(line for line in lines if line)


def _frame_counts(frame: PlannedFrame) -> str:
    refused = sum(rendition.refused is not None for rendition in frame.renditions)
    cautions = len(frame.cautions) + sum(len(rendition.cautions) for rendition in frame.renditions)
    parts = [_count(len(frame.renditions) - refused, "rendition")]
    if refused:
        parts.append(f"{refused}{_NBSP}refused")
    if cautions:
        parts.append(_count(cautions, "caution"))
    return " · ".join(parts)


def _frame_alt(number: int, facts: PictureFacts) -> str:
    if facts.decorative:
        return ""
    return facts.alt or f"Frame {number}; its alt text is not written yet"


# --- one rendition ---------------------------------------------------------------------------------------------------


def _card(
    frame_number: int,
    number: int,
    rendition: Rendition,
    frame: PlannedFrame,
    place: Place | None,
    scale: float,
    made: Mapping[str, Made],
) -> _Card:
    box = rendition.crop.box
    formats = tuple(dict.fromkeys(output.format for output in rendition.outputs))
    return _Card(
        number=number,
        anchor=f"frame-{frame_number}-{number}",
        name=rendition.name,
        target=rendition.target,
        about=rendition.about,
        units=max(1, round(box.width * scale)),
        size=box.size,
        picture=_picture(rendition.preview, f"Frame {frame_number} cut for {rendition.outlet} {rendition.target}"),
        on_frame=_frame_drawing(rendition, frame),
        on_print=_print_drawing(rendition),
        tag=_tag(place) if place else None,
        rows=tuple((label, text) for label, text in _card_rows(rendition, made) if text),
        formats=tuple(_format_word(name) for name in formats),
        files=tuple(_file_rows(rendition, formats, made)),
        cautions=rendition.cautions,
        refused=rendition.refused,
    )


def _card_rows(rendition: Rendition, made: Mapping[str, Made]) -> Iterator[tuple[str, str]]:
    crop = rendition.crop
    yield "Subject", landing(crop, rendition.trim)
    yield "Kept", "the whole frame" if crop.kept == 1 else f"{_fine_share(crop.kept)} of the frame"
    yield "Keep box", f"{_fine_share(crop.keep_lost)} of it lost" if crop.keep_lost > 0 else ""
    yield "Keep off", _keep_off(rendition.free)
    yield "Paper", _paper(rendition)
    yield "Colour", "" if rendition.refused else _outside(rendition, made)
    yield "Mark", rendition.settings.mark or ""


def _keep_off(free: tuple[Region, ...]) -> str:
    """Return which parts of the trim will be covered or are a margin, in words; "" where all of it is free."""
    if not free or any(region == Region(0.0, 0.0, 1.0, 1.0) for region in free):
        return ""
    if len(free) > 1:
        return "the part that will be covered"
    region = free[0]
    sides = (("top", region.top), ("right", 1 - region.right), ("bottom", 1 - region.bottom), ("left", region.left))
    return ", ".join(f"{side}{_NBSP}{_share(share)}" for side, share in sides if share > 0)


def _paper(rendition: Rendition) -> str:
    if rendition.effective_ppi is None:
        return ""
    ppi = f"{rendition.effective_ppi:.0f}{_NBSP}ppi"
    if not rendition.outputs:
        return ppi
    largest = max(rendition.outputs, key=lambda output: output.size.pixels)
    width, height = (25.4 * side / largest.ppi for side in (largest.size.width, largest.size.height))
    return f"{ppi}, {width:.0f}{_NBSP}{_TIMES}{_NBSP}{height:.0f}{_NBSP}mm"


def _outside(rendition: Rendition, made: Mapping[str, Made]) -> str:
    space = _SPACES.get(rendition.settings.colour, rendition.settings.colour)
    known = (made[output.path].outside_gamut for output in rendition.outputs if output.path in made)
    shares = [share for share in known if share is not None]
    return f"{_fine_share(max(shares))} outside {space}" if shares else f"{space}, {NOT_YET}"


def _file_rows(rendition: Rendition, formats: tuple[str, ...], made: Mapping[str, Made]) -> Iterator[_Row]:
    by_size: dict[Size, dict[str, _Cell]] = {}
    for output in rendition.outputs:
        by_size.setdefault(output.size, {})[output.format] = _cell(output, made.get(output.path))
    for size in sorted(by_size, key=lambda size: -size.pixels):
        yield _Row(_pixels(size), tuple(by_size[size].get(name) for name in formats))


def _cell(output: Output, known: Made | None) -> _Cell:
    link = _link(output.path)
    if known is None:
        return _Cell(_format_word(output.format), None, "not yet")
    return _Cell(_format_word(output.format), link, weight(known.size_bytes))


def _format_word(name: str) -> str:
    return {"webp": "WebP"}.get(name, name.upper())


# --- pictures and links ----------------------------------------------------------------------------------------------


def _picture(preview: Output | None, alt: str) -> _Picture | None:
    return _Picture(_link(preview.path), preview.size, alt) if preview else None


def _link(path: str) -> str:
    """Return the relative link from the page to a path below the output folder, percent-encoded whole (RFC 3986)."""
    if path.startswith("/") or not path or ".." in path.split("/"):
        raise ValueError(f"{path!r} is not a path below the output folder")
    return quote(posixpath.relpath(path, FOLDER), safe="/")


def _web_address(text: str | None) -> str | None:
    """Return the address only where it is one that a person may follow: http or https."""
    if text is None:
        return None
    try:
        return text if urlsplit(text).scheme in ("http", "https") else None
    except ValueError:
        return None


# --- drawing ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Edges:
    """A rectangle between pixels: edges, not columns, and fractions of a pixel where a trim needs them."""

    left: float
    top: float
    right: float
    bottom: float


def _edges(box: Box) -> _Edges:
    return _Edges(box.left, box.top, box.right, box.bottom)


def _within(outer: _Edges, region: Region) -> _Edges:
    width, height = outer.right - outer.left, outer.bottom - outer.top
    return _Edges(
        outer.left + region.left * width,
        outer.top + region.top * height,
        outer.left + region.right * width,
        outer.top + region.bottom * height,
    )


def _trim(rendition: Rendition) -> _Edges:
    return _within(_edges(rendition.crop.box), rendition.trim)


def _number(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _box_path(edges: _Edges) -> str:
    left, top, right, bottom = map(_number, (edges.left, edges.top, edges.right, edges.bottom))
    return f"M{left} {top}H{right}V{bottom}H{left}Z"


def _region_path(region: Region, size: Size) -> str:
    return _box_path(_within(_Edges(0, 0, size.width, size.height), region))


def _thirds_path(edges: _Edges) -> str:
    left, top, right, bottom = map(_number, (edges.left, edges.top, edges.right, edges.bottom))
    upright = (_number(edges.left + k * (edges.right - edges.left) / 3) for k in (1, 2))
    level = (_number(edges.top + k * (edges.bottom - edges.top) / 3) for k in (1, 2))
    return "".join(f"M{x} {top}V{bottom}" for x in upright) + "".join(f"M{left} {y}H{right}" for y in level)


def _covered_path(trim: _Edges, free: tuple[Region, ...]) -> str:
    """Return the part of the trim outside every free region, as rectangles that do not overlap."""
    if not free:
        return ""
    xs = sorted({0.0, 1.0, *(x for region in free for x in (region.left, region.right))})
    ys = sorted({0.0, 1.0, *(y for region in free for y in (region.top, region.bottom))})
    cells = (
        Region(left, top, right, bottom)
        for top, bottom in itertools.pairwise(ys)
        for left, right in itertools.pairwise(xs)
    )
    return "".join(_box_path(_within(trim, cell)) for cell in cells if not any(_holds(region, cell) for region in free))


def _holds(region: Region, cell: Region) -> bool:
    return (
        region.left <= cell.left
        and region.top <= cell.top
        and region.right >= cell.right
        and region.bottom >= cell.bottom
    )


def _cross(at: Point) -> _Cross:
    return _Cross(_number(100 * at.x), _number(100 * at.y))


def _drawing(trim: _Edges, box: _Edges, frame: Size, free: tuple[Region, ...], cross: _Cross | None) -> _Drawing:
    return _Drawing(
        trim=_box_path(trim),
        bleed="" if trim == box else _box_path(box),
        shade=_box_path(_Edges(0, 0, frame.width, frame.height)) + _box_path(box),
        thirds=_thirds_path(trim),
        covered=_covered_path(trim, free),
        cross=cross,
    )


def _frame_drawing(rendition: Rendition, frame: PlannedFrame) -> _Drawing:
    """Return the crop as it is drawn over the whole frame, with a cross of its own where its subject is its own."""
    size, trim, at = frame.whole.crop.box.size, _trim(rendition), rendition.crop.subject_at
    subject = Point(
        (trim.left + at.x * (trim.right - trim.left)) / size.width,
        (trim.top + at.y * (trim.bottom - trim.top)) / size.height,
    )
    own = max(abs(subject.x - frame.subject.x) * size.width, abs(subject.y - frame.subject.y) * size.height) > 1
    cross = _cross(subject) if own and _inside(subject) else None
    return _drawing(trim, _edges(rendition.crop.box), size, rendition.free, cross)


def _print_drawing(rendition: Rendition) -> _Drawing:
    """Return the crop as it is drawn over its own preview."""
    size = rendition.crop.box.size
    whole = _Edges(0, 0, size.width, size.height)
    trim, at = _within(whole, rendition.trim), rendition.crop.subject_at
    subject = Point(
        (trim.left + at.x * (trim.right - trim.left)) / size.width,
        (trim.top + at.y * (trim.bottom - trim.top)) / size.height,
    )
    return _drawing(trim, whole, size, rendition.free, _cross(subject) if _inside(subject) else None)


def _inside(at: Point) -> bool:
    return 0 <= at.x <= 1 and 0 <= at.y <= 1


# --- numbers on the picture ------------------------------------------------------------------------------------------


def _places(renditions: Sequence[Rendition], frame: PlannedFrame, size: Size) -> tuple[Place, ...]:
    return number_places(tuple(rendition.crop.box for rendition in renditions), size, frame.subject)


def number_places(boxes: Sequence[Box], frame: Size, subject: Point) -> tuple[Place, ...]:
    """Return a place for the number of each box, on an edge of its box, clear of the others and of the subject.

    Corners first, then along the edges; where all is taken, the place that hides least.
    """
    width, height = _TAG_SHARE, _TAG_SHARE * frame.width / frame.height
    taken = [Region(subject.x - width / 2, subject.y - height / 2, subject.x + width / 2, subject.y + height / 2)]
    places = []
    for box in boxes:
        region = Region(
            box.left / frame.width, box.top / frame.height, box.right / frame.width, box.bottom / frame.height
        )
        choices = [(place, _footprint(place, width, height)) for place in _choices(region, width, height)]
        hidden = [sum(_overlap(footprint, other) for other in taken) for _, footprint in choices]
        place, footprint = choices[hidden.index(min(hidden))]
        places.append(place)
        taken.append(footprint)
    return tuple(places)


def _choices(region: Region, width: float, height: float) -> Iterator[Place]:
    corners = ((False, False), (True, False), (False, True), (True, True))
    for right, bottom in corners:
        yield Place(Point((region.left, region.right)[right], (region.top, region.bottom)[bottom]), right, bottom)
    across = range(1, int((region.right - region.left) / width))
    down = range(1, int((region.bottom - region.top) / height))
    for bottom in (False, True):
        for step in across:
            yield Place(Point(region.left + step * width, (region.top, region.bottom)[bottom]), from_bottom=bottom)
    for right in (False, True):
        for step in down:
            yield Place(Point((region.left, region.right)[right], region.top + step * height), from_right=right)


def _footprint(place: Place, width: float, height: float) -> Region:
    left = place.at.x - width * place.from_right
    top = place.at.y - height * place.from_bottom
    return Region(left, top, left + width, top + height)


def _overlap(one: Region, other: Region) -> float:
    width = min(one.right, other.right) - max(one.left, other.left)
    height = min(one.bottom, other.bottom) - max(one.top, other.top)
    hair = 1e-9  # neighbours that touch do not hide each other
    return width * height if width > hair and height > hair else 0.0


def _tag(place: Place) -> _Tag:
    return _Tag(_number(100 * place.at.x), _number(100 * place.at.y), place.from_right, place.from_bottom)


# --- page and style --------------------------------------------------------------------------------------------------


def _style(plan: Plan, entries: tuple[_Entry, ...]) -> str:
    """Return the style sheet with the rules that depend on what is shown: widths, ratios, which number shows what.

    Style attributes would need a policy that lets any style in; rules by class do not.
    """
    cards = [card for entry in entries for card in entry.cards]
    lines = [package_text("sheet.css")]
    lines += [f".w{units}{{--w:{units}}}" for units in sorted({card.units for card in cards})]
    lines += [f".r{ratio}{{--ratio:{ratio / 100}}}" for ratio in sorted({entry.ratio for entry in entries})]
    for number in range(1, 1 + max((len(entry.cards) for entry in entries), default=0)):
        looked_at = f".n{number}:hover,.n{number}:focus-visible,.n{number} :focus-visible"
        led_to = f".frame:not(:has({_LOOKED_AT})):has(.look.n{number}:target)"
        lines.append(f":is(.frame:has({looked_at}),{led_to}) .c{number}{{--shown:visible;--line:1}}")
    margin = _css_string(
        " · ".join(part for part in (_shorten(plan.title), plan.date and day_in_words(plan.date)) if part)
    )
    lines.append(f"@page{{@bottom-left{{content:{margin}}}}}")
    return "\n".join(lines) + "\n"


def _shorten(text: str) -> str:
    return text if len(text) <= 80 else f"{text[:79]}…"


def _css_string(text: str) -> str:
    """Return a CSS string with all but ASCII letters, digits and spaces escaped (CSS Syntax 3, 4.3.7)."""
    return '"' + re.sub(r"[^A-Za-z0-9 ]", lambda found: f"\\{ord(found[0]):x} ", printable(text)) + '"'


def _digest(style: str) -> str:
    """Return the style's source expression as CSP Level 3 writes it: sha256 of the UTF-8 text, base64."""
    return f"sha256-{base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()}"
