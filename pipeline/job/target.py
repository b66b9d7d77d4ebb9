"""One target of an outlet: a shape and a use, as an outlet profile writes it."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, Tag, model_validator

from pipeline.job.budget import ByteText, budget_contradictions
from pipeline.job.colours import colour_contradictions
from pipeline.job.days import Day
from pipeline.job.kept_names import KEPT_FOLDERS
from pipeline.job.words import LONGEST_SHAPE, BareName, Fraction01, PointPair, RatioText, Words
from pipeline.light.free import both_free, free_beside_corner, free_from_bands, free_in_margins

if TYPE_CHECKING:
    from collections.abc import Iterator

Format = Literal["jpeg", "png", "webp", "tiff", "avif"]
Pixels = Annotated[int, Field(ge=1, le=20000)]
Millimetres = Annotated[float, Field(ge=10, le=2000)]
Quality = Annotated[int, Field(ge=1, le=100)]


def _word_or_point(value: object) -> str | None:
    return "<word>" if isinstance(value, str) else "<point>" if isinstance(value, list | tuple) else None


# The tags in angle brackets name the branch that a value is checked against; they are no keys of the file.
Anchor = Annotated[
    Annotated[Literal["thirds", "centre"], Tag("<word>")] | Annotated[PointPair, Tag("<point>")],
    Discriminator(
        _word_or_point,
        custom_error_type="word_or_point",
        custom_error_message="it must be 'thirds', 'centre' or a point such as [0.5, 0.4]",
    ),
]

FROZEN = ConfigDict(frozen=True, strict=True, extra="forbid", allow_inf_nan=False)


class Table(BaseModel):
    """A table of a TOML file: every key known, every value of its own type, nothing changed later."""

    model_config = FROZEN


class Safe(Table):
    """What something will cover: bands as shares of the height or width, and one corner."""

    top: Annotated[float, Field(ge=0, lt=1)] = 0.0
    bottom: Annotated[float, Field(ge=0, lt=1)] = 0.0
    left: Annotated[float, Field(ge=0, lt=1)] = 0.0
    right: Annotated[float, Field(ge=0, lt=1)] = 0.0
    corner: Literal["top-left", "top-right", "bottom-left", "bottom-right"] | None = None
    width: Annotated[float, Field(gt=0, lt=1)] | None = None
    height: Annotated[float, Field(gt=0, lt=1)] | None = None

    @model_validator(mode="after")
    def _something_stays_free(self) -> Self:
        given = [name for name in ("corner", "width", "height") if getattr(self, name) is not None]
        if given and len(given) < 3:
            raise ValueError(f"only {' and '.join(given)} is given; a covered corner needs corner, width and height")
        free = free_from_bands(self.top, self.bottom, self.left, self.right)
        if self.corner and self.width and self.height:
            free = both_free(free, free_beside_corner(self.corner, self.width, self.height))
        if not free:
            raise ValueError("what will be covered is the whole picture; leave a part of it free")
        return self


class SafeMargin(Table):
    """Paper that keep must stay clear of, in mm from the trim; the gutter is the bound side."""

    outside: Annotated[float, Field(ge=0, le=200)] = 0.0
    gutter: Annotated[float, Field(ge=0, le=200)] | None = None


class Sharpen(Table):
    """Output sharpening: where the picture will be seen, and how strongly (1 is the house strength)."""

    medium: Literal["screen", "paper", "none"] = Field(examples=["screen"])
    amount: Annotated[float, Field(ge=0, le=2)] = 1.0
    viewing_mm: Annotated[float, Field(ge=100, le=10000)] = 300.0


class FormatQuality(Table):
    """Encoder quality by format, 1 to 100; PNG and TIFF are lossless here and have none."""

    jpeg: Quality = 88
    webp: Quality = 82
    avif: Quality = 62


class Contradictions(ValueError):  # noqa: N818 (it is what was found)
    """Keys of one table that do not go together: every sentence of them, as "found; wanted"."""

    def __init__(self, *sentences: str) -> None:
        super().__init__("; ".join(sentences))
        self.sentences = sentences


class Target(Table):
    """A shape and use at an outlet. Exactly one of `ratio` with `widths`, `size_px`, or `size_mm`."""

    about: Words = Field(examples=["What it is for"])
    ratio: RatioText | None = None
    widths: Annotated[tuple[Pixels, ...], Field(min_length=1, max_length=12)] | None = None
    size_px: tuple[Pixels, Pixels] | None = None
    size_mm: tuple[Millimetres, Millimetres] | None = None
    ppi: Annotated[float, Field(ge=50, le=2400)] = 300.0
    ppi_floor: Annotated[float, Field(ge=1, le=2400)] | None = None
    bleed_mm: Annotated[float, Field(ge=0, le=50)] = 0.0
    safe_mm: SafeMargin | None = None
    side: Literal["left", "right"] | None = None
    anchor: Anchor = "thirds"
    reach: Fraction01 = 0.15
    too_small: Literal["shrink", "refuse"] = Field(examples=["shrink"])
    keep_miss: Literal["caution", "refuse"] = Field(examples=["caution"])
    safe: Safe | None = None
    also_seen: tuple[RatioText, ...] = ()
    shape: Literal["rectangle", "round"] = "rectangle"
    formats: Annotated[tuple[Format, ...], Field(min_length=1, examples=[("jpeg",)])]
    quality: FormatQuality = FormatQuality()
    jpeg_tables: Literal["fitted", "standard"] = "fitted"
    sharpen: Sharpen = Field(examples=[{"medium": "screen"}])
    colour: BareName = "srgb"
    metadata: Literal["public", "full", "proof"] = Field(examples=["public"])
    mark: bool = False
    layout: Literal["side-by-side", "one-above-the-other"] | None = None
    gap_px: Annotated[int, Field(ge=0, le=400)] | None = None
    source: dict[str, Words] = Field(default_factory=dict)
    not_before: Day | None = None
    licence_ends: Day | None = None
    needs: Literal["approval"] | None = None
    intent: Literal["relative", "perceptual"] = "relative"
    gamut: Literal["clip", "soft"] = "clip"
    ink_limit: Annotated[float, Field(ge=100, le=400)] | None = None
    bytes_max: ByteText | None = None
    fidelity: Annotated[float, Field(ge=0, le=100)] | None = None

    @model_validator(mode="after")
    def _agrees_with_itself(self) -> Self:
        sentences = [*_size_contradictions(self), *_paper_contradictions(self), *_two_up_contradictions(self)]
        sentences += [*colour_contradictions(self), *budget_contradictions(self)]
        if len(set(self.formats)) != len(self.formats):
            sentences.append(f"formats names one twice ({', '.join(self.formats)}); name each once")
        if self.jpeg_tables == "standard" and "jpeg" not in self.formats:
            found = "there is jpeg_tables, and formats has no jpeg"
            sentences.append(f"{found}; leave jpeg_tables out, or add jpeg to formats")
        if self.mark and self.metadata != "proof":
            sentences.append(f'there is a mark with metadata = "{self.metadata}"; a mark is for proofs, "proof"')
        if sentences:
            raise Contradictions(*sentences)
        return self


def _size_contradictions(target: Target) -> Iterator[str]:
    ways = [name for name in ("ratio", "size_px", "size_mm") if getattr(target, name) is not None]
    if len(ways) != 1:
        found = f"its size is said with {' and '.join(ways)}" if ways else "nothing says its size"
        yield f"{found}; say it in one way: ratio with widths, size_px, or size_mm"
    elif (target.ratio is None) != (target.widths is None):
        found, wanted = ("ratio", "widths") if target.ratio else ("widths", "ratio")
        yield f"there is {found} without {wanted}; the two go together"
    sides = target.size_px or target.size_mm
    if sides and max(sides) > LONGEST_SHAPE * min(sides):
        yield f"{sides[0]:g} x {sides[1]:g} is a strip; a shape may be at most {LONGEST_SHAPE} times as long as wide"


def _paper_contradictions(target: Target) -> Iterator[str]:
    of_paper = [name for name in ("bleed_mm", "safe_mm", "side", "ppi_floor") if getattr(target, name)]
    if target.size_mm is None and of_paper:
        yield f"there is {' and '.join(of_paper)} without size_mm; these are for paper alone"
    if target.ppi_floor and target.ppi_floor > target.ppi:
        yield f"ppi_floor is {target.ppi_floor:g} and ppi {target.ppi:g}; the floor may not be above it"
    margins = target.safe_mm or SafeMargin()
    if margins.gutter is not None and target.side is None:
        yield 'there is a gutter without a side; write side = "left" or side = "right"'
    if target.size_mm and not free_in_margins(target.size_mm, margins.outside, margins.gutter, target.side):
        yield "safe_mm leaves nothing of the page free; make the margins smaller"


THINNEST_HALF = 16  # pixels: less is no picture


def _two_up_contradictions(target: Target) -> Iterator[str]:
    """Yield what does not go together in a picture of two frames."""
    if target.layout is None:
        if target.gap_px is not None:
            yield "there is gap_px without layout; it is the room between two frames"
        return
    if target.size_px is None:
        yield "a layout of two frames needs size_px, the size of the whole picture"
        return
    single = [name for name in ("safe", "also_seen") if getattr(target, name)]
    single += ["shape"] if target.shape == "round" else []
    if single:
        yield f"there is {' and '.join(single)} with layout; these are for pictures of one frame"
    side = target.size_px[0 if target.layout == "side-by-side" else 1]
    if side - (target.gap_px or 0) < 2 * THINNEST_HALF:
        yield f"gap_px leaves two frames no room in {side} px; make it smaller"


LONGEST_OWN_WORDS = 30
NAME_FIELDS = ("slug", "frame", "outlet", "target", "width", "height")


def _name_template(template: str) -> str:
    """Refuse templates that would give names unfit for a web address, or one name to several files."""
    wanted = f"a name is made of a-z, 0-9, hyphens and {', '.join(f'{{{field}}}' for field in NAME_FIELDS)}"
    bare = re.sub(r"\{(" + "|".join(NAME_FIELDS) + r")\}", "", template)
    if not re.fullmatch(r"[a-z0-9-]*", bare):
        raise ValueError(wanted)
    if "{frame}" not in template or not ("{width}" in template or "{height}" in template):
        raise ValueError("a name needs {frame} and {width}, or files would share one name")
    if len(bare) > LONGEST_OWN_WORDS:
        raise ValueError(f"its own words may be {LONGEST_OWN_WORDS} letters long, so that the rest finds room")
    return template


def _outlet_name(name: str) -> str:
    """Refuse the names of folders that an export keeps for itself."""
    if name in KEPT_FOLDERS:
        raise ValueError(
            f"an outlet may not be called {', '.join(KEPT_FOLDERS[:-1])} or {KEPT_FOLDERS[-1]}: these are ours"
        )
    return name


class OutletProfile(Table):
    """One file of `profiles/`: an outlet, how its files are named, and its targets."""

    outlet: Annotated[BareName, AfterValidator(_outlet_name)] = Field(examples=["my-blog"])
    about: Words = Field(examples=["Where these pictures go"])
    name: Annotated[str, Field(max_length=200), AfterValidator(_name_template)] = "{slug}-{frame}-{target}-{width}"
    targets: Annotated[dict[BareName, Target], Field(min_length=1)]
