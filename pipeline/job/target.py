"""One target of an outlet: a shape and a use, as an outlet profile writes it."""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from pipeline.job.words import Fraction01, RatioText, Words

Format = Literal["jpeg", "png", "webp", "tiff", "avif"]
Pixels = Annotated[int, Field(ge=1, le=20000)]
Millimetres = Annotated[float, Field(gt=0, le=2000)]
Quality = Annotated[int, Field(ge=1, le=100)]

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
        if self.top + self.bottom >= 1 or self.left + self.right >= 1:
            raise ValueError("the bands cover the whole picture; leave a part of it free")
        if (self.corner is None) != (self.width is None) or (self.corner is None) != (self.height is None):
            raise ValueError("a covered corner needs all three of corner, width and height")
        return self


class SafeMargin(Table):
    """Paper that keep must stay clear of, in mm from the trim; the gutter is the bound side."""

    outside: Annotated[float, Field(ge=0, le=200)] = 0.0
    gutter: Annotated[float, Field(ge=0, le=200)] | None = None


class Sharpen(Table):
    """Output sharpening: where the picture will be seen, and how strongly (1 is the house strength)."""

    medium: Literal["screen", "paper", "none"]
    amount: Annotated[float, Field(ge=0, le=2)] = 1.0
    viewing_mm: Annotated[float, Field(ge=100, le=10000)] = 300.0


class FormatQuality(Table):
    """Encoder quality by format, 1 to 100; PNG and TIFF are lossless here and have none."""

    jpeg: Quality = 88
    webp: Quality = 82
    avif: Quality = 62


class Target(Table):
    """A shape and use at an outlet. Exactly one of `ratio` with `widths`, `size_px`, or `size_mm`."""

    about: Words
    ratio: RatioText | None = None
    widths: Annotated[tuple[Pixels, ...], Field(min_length=1, max_length=12)] | None = None
    size_px: tuple[Pixels, Pixels] | None = None
    size_mm: tuple[Millimetres, Millimetres] | None = None
    ppi: Annotated[float, Field(ge=50, le=2400)] = 300.0
    ppi_floor: Annotated[float, Field(ge=1, le=2400)] | None = None
    bleed_mm: Annotated[float, Field(ge=0, le=50)] = 0.0
    safe_mm: SafeMargin | None = None
    side: Literal["left", "right"] | None = None
    anchor: Literal["thirds", "centre"] | tuple[Fraction01, Fraction01] = "thirds"
    reach: Fraction01 = 0.15
    too_small: Literal["shrink", "refuse"]
    keep_miss: Literal["caution", "refuse"]
    safe: Safe | None = None
    also_seen: tuple[RatioText, ...] = ()
    shape: Literal["rectangle", "round"] = "rectangle"
    formats: Annotated[tuple[Format, ...], Field(min_length=1)]
    quality: FormatQuality = FormatQuality()
    sharpen: Sharpen
    colour: Literal["srgb", "display-p3", "adobe-rgb"] = "srgb"
    metadata: Literal["public", "full", "proof"]
    mark: bool = False
    source: dict[str, Words] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _one_way_to_say_the_size(self) -> Self:
        ways = [self.ratio is not None, self.size_px is not None, self.size_mm is not None]
        if sum(ways) != 1:
            raise ValueError("say its size in exactly one way: ratio with widths, size_px, or size_mm")
        if (self.ratio is None) != (self.widths is None):
            raise ValueError("ratio and widths go together")
        if self.size_mm is None and (self.bleed_mm or self.safe_mm or self.side or self.ppi_floor):
            raise ValueError("bleed_mm, safe_mm, side and ppi_floor are for paper; give size_mm with them")
        if self.safe_mm and self.safe_mm.gutter is not None and self.side is None:
            raise ValueError('a gutter needs a side: say side = "left" or "right" for the page')
        if self.ppi_floor and self.ppi_floor > self.ppi:
            raise ValueError("ppi_floor may not be above ppi")
        if len(set(self.formats)) != len(self.formats):
            raise ValueError("a format is named twice")
        return self


NAME_FIELDS = ("slug", "frame", "outlet", "target", "width", "height")


def _name_template(template: str) -> str:
    """Refuse templates that would give names unfit for a web address, or one name to several files."""
    wanted = f"a name is made of a-z, 0-9, hyphens and {', '.join(f'{{{field}}}' for field in NAME_FIELDS)}"
    bare = re.sub(r"\{(" + "|".join(NAME_FIELDS) + r")\}", "", template)
    if not re.fullmatch(r"[a-z0-9-]*", bare):
        raise ValueError(wanted)
    if "{frame}" not in template or not ("{width}" in template or "{height}" in template):
        raise ValueError("a name needs {frame} and {width}, or files would share one name")
    return template


class OutletProfile(Table):
    """One file of `profiles/`: an outlet, how its files are named, and its targets."""

    outlet: Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=30)]
    about: Words
    name: Annotated[str, Field(max_length=200), AfterValidator(_name_template)] = "{slug}-{frame}-{target}-{width}"
    targets: Annotated[
        dict[Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=30)], Target], Field(min_length=1)
    ]
