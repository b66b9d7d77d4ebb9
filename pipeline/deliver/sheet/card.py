"""One rendition as the sheet shows it: its print, what is drawn on it, its docket, its files."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.measured import ink_words, outside_gamut
from pipeline.deliver.sheet.drawing import Drawing, frame_drawing, per_cent, print_drawing
from pipeline.deliver.sheet.links import Links, Picture, picture
from pipeline.deliver.sheet.standing import Earlier, earlier
from pipeline.deliver.sheet.words import fine_share, format_word, landing, millimetres, pixels, share, weight_of
from pipeline.light.box import WHOLE, Size
from pipeline.light.colour_names import display_name

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from pipeline.deliver.review.state import Review
    from pipeline.deliver.sheet.numbers import Place
    from pipeline.ledger.made import Made
    from pipeline.light.box import Region
    from pipeline.plan.rendition import Output, PlannedFrame, Rendition

    Weigh = Callable[[Sequence[Made]], str]  # says in words what files weigh together

NOT_YET = "not measured yet"
# The longest side of the largest crop of a frame, in units of 1/240 of a column of the style sheet.
SCALE_UNITS = 240
# How wide a feed or a post shows a picture on a phone, and a round one beside a name, in CSS px (common practice).
PHONE_PX, ROUND_PX = 390, 48


@dataclass(frozen=True, slots=True)
class Tag:
    """A number on the frame's picture, in per cent of it; the corner of the number that stands there."""

    x: str
    y: str
    from_right: bool
    from_bottom: bool


@dataclass(frozen=True, slots=True)
class Cell:
    """One file in the table of a rendition: its link (None until it is made), its weight in words."""

    link: str | None
    weight: str


@dataclass(frozen=True, slots=True)
class FileRow:
    """The files of one pixel size, a cell a format (None where there is none)."""

    pixels: str
    cells: tuple[Cell | None, ...]


@dataclass(frozen=True, slots=True)
class Full:
    """The file that shows a rendition at 100 %: its link, its size in pixels."""

    link: str
    size: Size


@dataclass(frozen=True, slots=True)
class Card:
    """One rendition as the page shows it. `units` is its width at the frame's one scale.

    `file` is the only file there is, else `files` has them all. `phone` is how wide a phone shows it, in CSS px, 0
    where none does.
    """

    number: int
    anchor: str
    name: str
    item: str
    outlet: str
    target: str
    about: str
    units: int
    size: Size
    picture: Picture | None
    full: Full | None
    on_frame: Drawing
    on_print: Drawing | None
    tag: Tag | None
    rows: tuple[tuple[str, str], ...]
    formats: tuple[str, ...]
    file: FileRow | None
    files: tuple[FileRow, ...]
    cautions: tuple[str, ...]
    refused: str | None
    earlier: tuple[Earlier, ...]
    round: bool
    phone: int
    key: str | None
    focus: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Shown:
    """What every card of a page is built from: whose sheet it is, what is made, which file shows it at 100 %."""

    review: Review
    made: Mapping[str, Made]
    fulls: Mapping[str, Output]
    links: Links
    weigh: Weigh = weight_of

    @property
    def hers(self) -> bool:
        """Return whether the sheet is the photographer's own, with all that she alone may see."""
        return self.review.outlet is None


def card(
    shown: Shown,
    frame_number: int,
    number: int,
    rendition: Rendition,
    frame: PlannedFrame,
    place: Place | None,
    scale: float,
) -> Card:
    """Return a rendition as the page shows it. Raises ValueError for a file that would leave the output folder."""
    size = shape_of(rendition)
    formats = tuple(dict.fromkeys(output.format for output in rendition.outputs))
    full = shown.fulls.get(rendition.name)
    files = tuple(_file_rows(rendition, formats, shown)) if shown.hers else ()
    alone = len(files) == 1 and len(formats) == 1
    alt = f"Frame {frame_number} cut for {rendition.outlet} {rendition.target}"
    return Card(
        number=number,
        anchor=f"f{frame_number}-{number}",
        name=rendition.name,
        item=f"{rendition.outlet}/{rendition.target}",
        outlet=rendition.outlet,
        target=rendition.target,
        about=rendition.about,
        units=max(1, round(size.width * scale)),
        size=size,
        picture=picture(shown.links, (rendition.preview,), alt),
        full=Full(shown.links.relative(full.path), full.size) if full and not shown.links.single else None,
        on_frame=frame_drawing(rendition, frame, frame.subject if shown.hers else None),
        on_print=None if rendition.beside else print_drawing(rendition),
        tag=_tag(place) if place else None,
        rows=tuple((label, text) for label, text in _rows(rendition, shown) if text),
        formats=tuple(format_word(name) for name in formats) if shown.hers else (),
        file=files[0] if alone else None,
        files=() if alone else files,
        cautions=rendition.cautions if shown.hers else (),
        refused=rendition.refused if shown.hers else None,
        earlier=earlier(shown.review, rendition.name, frame_number, shown.links),
        round=rendition.round_shape,
        phone=0 if rendition.effective_ppi is not None else ROUND_PX if rendition.round_shape else PHONE_PX,
        key=shown.review.keys.get(rendition.name),
        focus=(rendition.crop.subject_at.x, rendition.crop.subject_at.y),
    )


def shape_of(rendition: Rendition) -> Size:
    """Return the size of what is shown in source pixels: the crop's box; of a two-up, both pictures as they lie."""
    box, two = rendition.crop.box, rendition.beside
    if two is None:
        return box.size
    side_by_side = two.layout == "side-by-side"
    scale = box.height / two.whole.height if side_by_side else box.width / two.whole.width
    return Size(max(1, round(two.whole.width * scale)), max(1, round(two.whole.height * scale)))


def _rows(rendition: Rendition, shown: Shown) -> Iterator[tuple[str, str]]:
    if not shown.hers:
        yield "Size", _size(rendition)
        yield "Keep off", _keep_off(rendition.free)
        yield "Final", "made once you approve it" if rendition.waits else ""
        return
    crop = rendition.crop
    yield "Subject", landing(crop, rendition.trim)
    yield "Kept", "the whole frame" if crop.kept == 1 else f"{fine_share(crop.kept)} of the frame"
    yield "Keep box", f"{fine_share(crop.keep_lost)} of it lost" if crop.keep_lost > 0 else ""
    yield "Keep off", _keep_off(rendition.free)
    yield "Paper", _paper(rendition)
    yield "Colour", "" if rendition.refused else _outside(rendition, shown.made)
    yield "Ink", ink_words(rendition, shown.made)
    yield "Mark", rendition.settings.mark or ""
    yield "Approval", rendition.approval_words or ""


def _keep_off(free: tuple[Region, ...]) -> str:
    """Return which parts of the trim will be covered or are a margin, in words; "" where all of it is free."""
    if not free or WHOLE in free:
        return ""
    if len(free) > 1:
        return "the part that will be covered"
    region = free[0]
    sides = (("top", region.top), ("right", 1 - region.right), ("bottom", 1 - region.bottom), ("left", region.left))
    return ", ".join(f"{side}\N{NO-BREAK SPACE}{share(part)}" for side, part in sides if part > 0)


def _size(rendition: Rendition) -> str:
    """Return what the largest file measures: on paper in millimetres, on a screen in pixels."""
    if not rendition.outputs:
        return ""
    largest = max(rendition.outputs, key=lambda output: output.size.pixels)
    if rendition.effective_ppi is None:
        return pixels(largest.size)
    return millimetres(*(25.4 * side / largest.ppi for side in (largest.size.width, largest.size.height)))


def _paper(rendition: Rendition) -> str:
    if rendition.effective_ppi is None:
        return ""
    return ", ".join(part for part in (f"{rendition.effective_ppi:.0f}\N{NO-BREAK SPACE}ppi", _size(rendition)) if part)


def _outside(rendition: Rendition, made: Mapping[str, Made]) -> str:
    space, part = display_name(rendition.settings.colour), outside_gamut(rendition, made)
    if rendition.settings.channels == 1 and not part:
        return space  # every colour is given up on purpose
    return f"{space}, {NOT_YET}" if part is None else f"{fine_share(part)} outside {space}"


def _file_rows(rendition: Rendition, formats: tuple[str, ...], shown: Shown) -> Iterator[FileRow]:
    """Yield a row for each size, the largest first; that one is linked."""
    by_size: dict[Size, dict[str, Output]] = {}
    for output in rendition.outputs:
        by_size.setdefault(output.size, {})[output.format] = output
    for number, size in enumerate(sorted(by_size, key=lambda size: -size.pixels)):
        files = (by_size[size].get(name) for name in formats)
        yield FileRow(pixels(size), tuple(_cell(one, shown, linked=number == 0) if one else None for one in files))


def _cell(output: Output, shown: Shown, *, linked: bool) -> Cell:
    link, known = shown.links.relative(output.path), shown.made.get(output.path)
    if known is None:
        return Cell(None, "not yet")
    return Cell(link if linked and not shown.links.single else None, shown.weigh([known]))


def _tag(place: Place) -> Tag:
    return Tag(per_cent(place.at.x), per_cent(place.at.y), place.from_right, place.from_bottom)
