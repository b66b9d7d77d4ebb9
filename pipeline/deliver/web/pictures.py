"""The pictures that the post can show: which renditions they are, their files, and how wide a page lays them out."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pipeline.ledger.made import Made
    from pipeline.plan.facts import PictureFacts
    from pipeline.plan.rendition import Output, OutputFormat, Plan, PlannedFrame, Rendition

# What a browser can show (IANA media types), lightest first; the last two need no `picture` to be understood.
MEDIA_TYPES: dict[OutputFormat, str] = {
    "avif": "image/avif",
    "webp": "image/webp",
    "jpeg": "image/jpeg",
    "png": "image/png",
}
MODERN: tuple[OutputFormat, ...] = ("avif", "webp")
PLAIN: tuple[OutputFormat, ...] = ("jpeg", "png")

HERO, STEP, LINK_PREVIEW, CARD = "hero", "step", "link-preview", "card"
CARD_SHAPES = (Fraction(1), Fraction(4, 3), Fraction(16, 9))
# The plain file that stands for a picture is the smallest at least this wide (common practice, no source: search
# shows large pictures from 1200 px on); where none is, the widest.
STANDARD_WIDTH = 1200
CMYK_CHANNELS = 4  # browsers differ in what they make of it
DENSE = 2  # device pixels a CSS pixel on the screens that the widths of the profiles are made for (house choice)


@dataclass(frozen=True, slots=True)
class WebPicture:
    """One rendition as the web uses it: the files that were made of it, by format and width.

    `standard` is the one plain file that `src`, structured data and link previews name. `layout_width` is how wide,
    in CSS pixels, a page lays it out at most; None where it goes over the whole window. `colour` ("#rrggbb") stands in
    its place until it has come; None where it was not measured. `in_page` says whether the post shows it (a link
    preview is only named in the head). `lead` marks the first picture that a reader sees.
    """

    frame: PlannedFrame
    rendition: Rendition
    files: tuple[Output, ...]
    standard: Output
    layout_width: int | None
    colour: str | None
    in_page: bool
    lead: bool

    @property
    def facts(self) -> PictureFacts:
        """Return the facts as this rendition's policy writes them."""
        return self.rendition.facts

    @property
    def widest(self) -> int:
        """Return the width of its widest file in pixels."""
        return max(output.size.width for output in self.files)

    def of_format(self, output_format: OutputFormat) -> tuple[Output, ...]:
        """Return the files of one format, narrowest first."""
        found = (output for output in self.files if output.format == output_format)
        return tuple(sorted(found, key=lambda output: output.size.width))


def web_pictures(plan: Plan, made: Mapping[str, Made]) -> tuple[WebPicture, ...]:
    """Return the pictures of the web, frame by frame; in a frame hero and step come first, link previews last.

    Only files that were made are named; a rendition without a plain one is left out.
    """
    planned = tuple(_planned(plan))
    widest: dict[str, int] = {}
    for _, rendition in planned:
        widths = (output.size.width for output in rendition.outputs)
        widest[_target(rendition)] = max([widest.get(_target(rendition), 0), *widths])
    there = [
        (frame, rendition, files)
        for frame, rendition in planned
        if not rendition.waits
        and (files := tuple(output for output in rendition.outputs if output.path in made))
        and any(output.format in PLAIN for output in files)
    ]
    in_page = [rendition for _, rendition, _ in there if rendition.target != LINK_PREVIEW]
    lead = next(iter([*(one for one in in_page if one.target == HERO), *in_page]), None)
    return tuple(
        WebPicture(
            frame=frame,
            rendition=rendition,
            files=files,
            standard=(standard := _standard(files)),
            layout_width=_layout_width(rendition, widest[_target(rendition)], plan.content_width),
            colour=made[standard.path].average,
            in_page=rendition.target != LINK_PREVIEW,
            lead=rendition is lead,
        )
        for frame, rendition, files in there
    )


def not_made(plan: Plan, made: Mapping[str, Made]) -> tuple[Output, ...]:
    """Return the files of the web that are planned, wait for nobody, and are not made yet."""
    planned = (output for _, rendition in _planned(plan) if not rendition.waits for output in rendition.outputs)
    return tuple(output for output in planned if output.path not in made)


def waiting(plan: Plan) -> tuple[Rendition, ...]:
    """Return the renditions of the web that wait for an approval."""
    return tuple(rendition for _, rendition in _planned(plan) if rendition.waits)


def frames_in_post(plan: Plan) -> frozenset[str]:
    """Return the slugs of the frames of which the post is to show a picture, made yet or not."""
    return frozenset(frame.slug for frame, rendition in _planned(plan) if rendition.target != LINK_PREVIEW)


def _planned(plan: Plan) -> Iterator[tuple[PlannedFrame, Rendition]]:
    """Yield what the post has a use for.

    That is a rendition for screens (no paper, no proof, no mark, and nothing but formats that browsers show) which is
    a hero, a step or a link preview, or whose target is made in several files, so that a browser has a choice. A
    single file of another target is for another program: a feed, a letter, a partner's desk.
    """
    choice = {_target(rendition) for rendition in plan.renditions if len(rendition.outputs) > 1}
    for frame in plan.frames:
        for rendition in sorted(frame.renditions, key=_rank):
            if (
                rendition.refused is None
                and rendition.policy != "proof"
                and rendition.settings.mark is None
                and rendition.effective_ppi is None
                and rendition.settings.channels < CMYK_CHANNELS
                and all(output.format in MEDIA_TYPES for output in rendition.outputs)
                and (rendition.target in (HERO, STEP, LINK_PREVIEW) or _target(rendition) in choice)
            ):
                yield frame, rendition


def link_preview(pictures: tuple[WebPicture, ...]) -> WebPicture | None:
    """Return the picture that is shown with a shared link: the first made for that."""
    return next((picture for picture in pictures if picture.rendition.target == LINK_PREVIEW), None)


def recipe_cards(pictures: tuple[WebPicture, ...]) -> dict[Fraction, WebPicture]:
    """Return the picture of each shape that search asks for of a recipe, square first, as far as there is one.

    A target named card goes before any other picture of that shape; of several, the first frame's.
    """
    in_page = [picture for picture in pictures if picture.in_page]
    ranked = sorted(in_page, key=lambda picture: not picture.rendition.target.startswith(CARD))
    found = {shape: next((one for one in ranked if _has_shape(one, shape)), None) for shape in CARD_SHAPES}
    return {shape: picture for shape, picture in found.items() if picture}


def steps(pictures: tuple[WebPicture, ...]) -> dict[int, tuple[WebPicture, ...]]:
    """Return the pictures of each step by its number, in order: of each frame of the step its first one."""
    found: dict[int, dict[str, WebPicture]] = {}
    for picture in pictures:
        if picture.in_page and picture.frame.step is not None:
            found.setdefault(picture.frame.step, {}).setdefault(picture.frame.slug, picture)
    return {number: tuple(found[number].values()) for number in sorted(found)}


def _target(rendition: Rendition) -> str:
    return f"{rendition.outlet}/{rendition.target}"


def _rank(rendition: Rendition) -> int:
    order = {HERO: 0, STEP: 1, LINK_PREVIEW: 3}
    return order.get(rendition.target, 2)


def _standard(files: tuple[Output, ...]) -> Output:
    for output_format in PLAIN:
        ordered = sorted((one for one in files if one.format == output_format), key=lambda one: one.size.width)
        if ordered:
            return next((one for one in ordered if one.size.width >= STANDARD_WIDTH), ordered[-1])
    raise ValueError("no plain file among them")


def _layout_width(rendition: Rendition, widest: int, content_width: int) -> int | None:
    """Return the width of the text column; None (the whole window) for what is made wider than it can use.

    `widest` is the widest file of its target in any frame: a small frame's hero is laid out as a hero.
    """
    over_the_window = rendition.target == HERO or widest > DENSE * content_width
    return None if over_the_window else content_width


def _has_shape(picture: WebPicture, shape: Fraction) -> bool:
    size = picture.standard.size
    return size.height == max(1, round(size.width / shape))
