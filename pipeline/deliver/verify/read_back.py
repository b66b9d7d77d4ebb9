"""What a file turned out to hold, as values: first its parts as bytes, then what they say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    from pipeline.light.box import Size

Format = Literal["jpeg", "png", "webp", "tiff", "avif"]
ExifValue = str | tuple[int, ...] | tuple[Fraction, ...]
XmpValue = str | tuple["XmpValue", ...] | Mapping[str, "XmpValue"]


class PicturePart(NamedTuple):
    """A part that decides the pixels: what it is, and its bytes."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Parts:
    """A file taken apart. `exif` begins with a TIFF header; `ppi` is the container's own resolution.

    `xmp` is the main packet and, where it names one, the extended one. `resources` are image resources ("8BIM").
    `iim` stands here where the container has a place of its own for it (TIFF). `others` says in words what else is
    there. `channels` is 1 for grey, 3, or 4 for CMYK; transparency is none.
    """

    format: Format
    size: Size
    picture: tuple[PicturePart, ...]
    icc_profile: bytes | None = None
    exif: bytes | None = None
    xmp: tuple[bytes, ...] = ()
    resources: bytes | None = None
    iim: bytes | None = None
    ppi: Fraction | None = None
    others: tuple[str, ...] = ()
    channels: int = 3


@dataclass(frozen=True, slots=True)
class ReadBack:
    """What a file holds, in words.

    `exif` is by name of the tag ("Artist"; "GPS 0x0002" where the tag is none of ours); `xmp` by prefixed name:
    text, an ordered tuple (sorted where order has no meaning), or a mapping (the fields of a structure, the
    languages of an alternative in lower case); `iim` by number ("2:80"). `iim_digest` says whether the stored digest
    is that of the block. `others` names every part that has no place in a delivered file.
    """

    format: Format
    size: Size
    picture_sha256: str
    icc_profile: bytes | None
    ppi: Fraction | None
    exif: Mapping[str, ExifValue]
    xmp: Mapping[str, XmpValue]
    iim: Mapping[str, tuple[str, ...]]
    iim_digest: Literal["true", "false", "absent"]
    others: tuple[str, ...]
    channels: int = 3
