"""One frame as the sheet shows it: the whole picture, what is said of it, its renditions by outlet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.deliver.sheet.card import SCALE_UNITS, Card, Shown, card, shape_of
from pipeline.deliver.sheet.drawing import Cross, cross_at, region_path
from pipeline.deliver.sheet.links import Picture, picture, web_address
from pipeline.deliver.sheet.numbers import number_places
from pipeline.deliver.sheet.standing import Earlier, earlier
from pipeline.deliver.sheet.words import count, day_in_words, exposure, pixels, words_of
from pipeline.plan.level import in_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.frames.header import CameraFacts
    from pipeline.light.box import Size
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import PlannedFrame, Rendition


@dataclass(frozen=True, slots=True)
class Fact:
    """One line of what is said of a frame; `written` says whether these are the job's words, in its language."""

    label: str
    text: str
    written: bool = True
    link: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One frame as the page shows it. `ratio` is its width in per cent of its height."""

    number: int
    anchor: str
    heading: str
    slug: str
    file: str
    language: str
    view: str
    about: str
    camera: tuple[str, ...]
    counts: str
    size: Size
    ratio: int
    picture: Picture | None
    large: str | None
    keep: str
    cross: Cross | None
    tenths: bool
    facts: tuple[Fact, ...]
    outlets: tuple[tuple[str, tuple[Card, ...]], ...]
    cautions: tuple[str, ...]
    earlier: tuple[Earlier, ...]

    @property
    def cards(self) -> tuple[Card, ...]:
        """Return the renditions in the order of their numbers."""
        return tuple(card for _, cards in self.outlets for card in cards)


def entry(shown: Shown, number: int, frame: PlannedFrame, shoot: str) -> Entry:
    """Return a frame as the page shows it. Raises ValueError for a file that would leave the output folder."""
    size, hers = frame.whole.crop.box.size, shown.hers
    groups: dict[str, list[Rendition]] = {}
    for rendition in frame.renditions:
        groups.setdefault(rendition.outlet, []).append(rendition)
    ordered = [rendition for group in groups.values() for rendition in group]
    cut = [rendition for rendition in ordered if rendition.refused is None]
    boxes = tuple(rendition.crop.box for rendition in cut)
    placed = number_places(boxes, size, frame.subject if hers else None)
    places = dict(zip((rendition.name for rendition in cut), placed, strict=True))
    shapes = [shape_of(rendition) for rendition in ordered]
    longest = max((max(shape.width, shape.height) for shape in shapes), default=1)
    cards = iter(
        card(shown, number, index, rendition, frame, places.get(rendition.name), SCALE_UNITS / longest)
        for index, rendition in enumerate(ordered, 1)
    )
    keep = region_path(frame.keep, size) if frame.keep and hers else ""
    whole, large = frame.whole, frame.whole.preview
    return Entry(
        number=number,
        anchor=f"f{number}",
        heading=_heading(frame, shoot),
        slug=frame.slug,
        file=frame.shown_file if hers else "",
        language=frame.facts.language,
        view=frame.view or "",
        about=_about_frame(frame) if hers else "",
        camera=tuple(_camera_lines(frame.header.camera)) if hers else (),
        counts=_frame_counts(frame) if hers else "",
        size=size,
        ratio=max(1, round(100 * size.width / size.height)),
        picture=picture(shown.links, (whole.small, whole.preview), _frame_alt(shown, number, frame, shoot)),
        large=shown.links.relative(large.path) if large and not shown.links.single else None,
        keep=keep,
        cross=cross_at(frame.subject) if hers else None,
        tenths=hers and not whole.crop.turn_deg,  # the job's fractions are those of the frame before it is levelled
        facts=tuple(_facts(frame.facts, hers=hers)),
        outlets=tuple((outlet, tuple(next(cards) for _ in group)) for outlet, group in groups.items()),
        cautions=frame.cautions if hers else (),
        earlier=earlier(shown.review, frame.slug, number, shown.links),
    )


def _heading(frame: PlannedFrame, shoot: str) -> str:
    """Return what the frame is called: its own title, else its slug in words (the shoot's title says nothing of it)."""
    title = frame.facts.title
    return title if title and title != shoot else words_of(frame.slug)


def _about_frame(frame: PlannedFrame) -> str:
    header = frame.header
    kind = "camera raw" if header.format == "raw" else header.format.upper()
    parts = (
        frame.view,
        f"step {frame.step}" if frame.step is not None else None,
        pixels(header.size),
        in_words(frame.whole.crop.turn_deg) if frame.whole.crop.turn_deg else None,
        kind if header.format == "raw" else f"{kind}, {header.bits} bit",
    )
    return " · ".join(part for part in parts if part)


def _camera_lines(camera: CameraFacts) -> Iterator[str]:
    body = " ".join(part for part in (camera.make, camera.model) if part)
    if camera.make and camera.model and camera.model.lower().startswith(camera.make.lower()):
        body = camera.model
    lines = (
        exposure(camera),
        ", ".join(part for part in (body, camera.lens) if part),
        f"taken {day_in_words(camera.taken)}" if camera.taken else "",
    )
    yield from (line for line in lines if line)


def _frame_counts(frame: PlannedFrame) -> str:
    refused = sum(rendition.refused is not None for rendition in frame.renditions)
    cautions = len(frame.cautions) + sum(len(rendition.cautions) for rendition in frame.renditions)
    parts = [count(len(frame.renditions) - refused, "rendition")]
    if refused:
        parts.append(f"{refused}\N{NO-BREAK SPACE}refused")
    if cautions:
        parts.append(count(cautions, "caution"))
    return " · ".join(parts)


def _frame_alt(shown: Shown, number: int, frame: PlannedFrame, shoot: str) -> str:
    if frame.facts.decorative:
        return ""
    missing = "its alt text is not written yet" if shown.hers else _heading(frame, shoot)
    return frame.facts.alt or f"Frame {number}; {missing}"


def _facts(facts: PictureFacts, *, hers: bool) -> Iterator[Fact]:
    """Yield what is said of the frame. What is missing is said to be missing to her alone."""
    credit = facts.credit_line or ", ".join(facts.creators)
    if facts.decorative:
        yield Fact("Alt text", "left empty on purpose: the picture is decoration", written=False)
    elif facts.alt or hers:
        yield Fact("Alt text", facts.alt or "not written yet", written=bool(facts.alt))
    if facts.description or hers:
        yield Fact("Caption", facts.description or "not written yet", written=bool(facts.description))
    if credit or hers:
        yield Fact("Credit", credit or "not written yet", written=False)
    if facts.copyright:
        yield Fact("Copyright", facts.copyright, written=False)
    if facts.licence_url or hers:
        address = facts.licence_url
        yield Fact("Licence", address or "no address given", written=False, link=web_address(address))
    if facts.usage_terms:
        yield Fact("Terms", facts.usage_terms, written=False)
    if facts.acquire_url:
        yield Fact("To license", facts.acquire_url, written=False, link=web_address(facts.acquire_url))
