"""A manifest, read as something that a stranger may have written: bounded, checked whole, no path leaves its folder."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path, PurePosixPath
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from pipeline.deliver.verify.read_back import Format
from pipeline.faults import Fault, RequestRefused
from pipeline.light.box import Size
from pipeline.plan.facts import PictureFacts, Policy

MANIFEST = "manifest.json"
FORMATS = (2, 3)  # the first lacks what a pack needs; both say what the files must hold
_MOST_BYTES = 64 << 20
_MOST_FAULTS = 20
_MOST_PIXELS_A_SIDE = 1 << 20
_FRACTION = re.compile("[0-9]{1,10}(/[0-9]{1,10})?")


def _path(text: str) -> str:
    """Return a path that stays below the folder that it is put to; ValueError for any other."""
    path = PurePosixPath(text)
    plain = text and "\0" not in text and "\\" not in text and str(path) == text and text != "."
    if not plain or path.is_absolute() or ".." in path.parts:
        raise ValueError("a path must stay inside the folder")
    return text


def _fraction(text: str) -> str:
    if not _FRACTION.fullmatch(text) or text.endswith("/0"):
        raise ValueError("a fraction is written like 1/60")
    return text


Digest = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
_Fraction = Annotated[str, AfterValidator(_fraction)]
_Side = Annotated[int, Field(ge=1, le=_MOST_PIXELS_A_SIDE)]


class Entry(BaseModel):
    """A part of a manifest: every value of its own type; what is not asked for is passed over."""

    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)


class FileEntry(Entry):
    """One file of a manifest."""

    path: Annotated[str, Field(max_length=1024), AfterValidator(_path)]
    sha256: Digest
    picture_sha256: Digest | None
    bytes: Annotated[int, Field(ge=1)]
    size: tuple[_Side, _Side]
    format: Format
    ppi: Annotated[float, Field(ge=1, le=65535)]


class _Settings(Entry):
    colour: str


class _Camera(Entry):
    make: str | None = None
    model: str | None = None
    lens: str | None = None
    exposure_s: _Fraction | None = None
    f_number: _Fraction | None = None
    iso: Annotated[int, Field(ge=1)] | None = None
    focal_mm: _Fraction | None = None


class RenditionEntry(Entry):
    """One rendition of a manifest, as far as its files are judged by it. `target` is `outlet/target`."""

    target: Annotated[str, Field(max_length=200)] = ""
    metadata: Policy
    settings: _Settings
    facts: PictureFacts | None
    camera: _Camera | None
    icc_profile_sha256: Digest
    channels: Literal[1, 3, 4] = 3
    files: Annotated[tuple[FileEntry, ...], Field(max_length=10_000)]


class _Manifest(Entry):
    manifest: Literal[2, 3]
    title: str
    renditions: Annotated[tuple[RenditionEntry, ...], Field(max_length=100_000)]


@dataclass(frozen=True, slots=True)
class Camera:
    """The camera facts that a file states; None where it is silent."""

    make: str | None = None
    model: str | None = None
    lens: str | None = None
    exposure_s: Fraction | None = None
    f_number: Fraction | None = None
    iso: int | None = None
    focal_mm: Fraction | None = None


@dataclass(frozen=True, slots=True)
class Delivered:
    """One file as it was delivered, for which `outlet/target`.

    `facts` is None where the manifest does not say what the file states.
    """

    path: str
    sha256: str
    picture_sha256: str | None
    size: Size
    format: Format
    ppi: float
    srgb: bool
    icc_profile_sha256: str
    facts: PictureFacts | None
    camera: Camera
    target: str = ""
    channels: int = 3

    @property
    def outlet(self) -> str:
        """Return the outlet that it was delivered to."""
        return self.target.partition("/")[0]


def read_manifest(path: Path) -> tuple[Delivered, ...]:
    """Return every delivered file in the order of the manifest. Raises `RequestRefused` with all that is wrong."""
    manifest = read_as(path, _Manifest)
    files = tuple(delivered(rendition, file) for rendition in manifest.renditions for file in rendition.files)
    if len({file.path for file in files}) < len(files):
        raise RequestRefused(Fault(str(path), "it names one file twice", _OTHER))
    return files


Shape = TypeVar("Shape", bound=Entry)


_NAME_ONE = "name the folder of an export, or say what it is held against with --against MANIFEST"


def read_as(path: Path, shape: type[Shape], absent: str = _NAME_ONE) -> Shape:
    """Return a manifest in the shape of what is asked of it. Raises `RequestRefused` with all that is wrong.

    `absent` says what would be right where there is none.
    """
    text = _text(path, absent)
    try:
        return shape.model_validate_json(text)
    except ValidationError as error:
        found = error.errors(include_url=False, include_context=False, include_input=False)
        raise RequestRefused(*(_fault(path, str(one["msg"]), one["loc"]) for one in found[:_MOST_FAULTS])) from None


_OTHER = "name the manifest.json that an export wrote"


def _text(path: Path, absent: str) -> bytes:
    """Return the manifest's bytes, seen to be JSON of our format."""
    if path.exists() and not path.is_file():
        raise RequestRefused(Fault(str(path), "this is no file", _OTHER))
    try:
        with path.open("rb") as stream:
            text = stream.read(_MOST_BYTES + 1)
    except FileNotFoundError:
        raise RequestRefused(Fault(str(path), "there is no such manifest", absent)) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RequestRefused(Fault(str(path), f"it cannot be read ({reason})", _OTHER)) from None
    if len(text) > _MOST_BYTES:
        raise RequestRefused(Fault(str(path), f"it is larger than {_MOST_BYTES >> 20} MiB", _OTHER))
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        raise RequestRefused(Fault(str(path), "it is no sound JSON", _OTHER)) from None
    number = document.get("manifest") if isinstance(document, dict) else None
    if not isinstance(number, int):
        raise RequestRefused(Fault(str(path), "it is no manifest", _OTHER))
    if number not in FORMATS:
        found = f"it is a manifest of format {number}; this plateline reads {FORMATS[0]} to {FORMATS[-1]}"
        wanted = "run export again, which writes a new one" if number < FORMATS[0] else "use a newer plateline"
        raise RequestRefused(Fault(str(path), found, wanted))
    return text


def _fault(path: Path, message: str, place: tuple[int | str, ...]) -> Fault:
    where = "".join(f"[{one}]" if isinstance(one, int) else f".{one}" for one in place).lstrip(".")
    return Fault(str(path), message.removeprefix("Value error, ").lower(), _OTHER, where)


def delivered(rendition: RenditionEntry, file: FileEntry) -> Delivered:
    """Return one file of a rendition as it was delivered."""
    camera = rendition.camera or _Camera()
    return Delivered(
        file.path,
        file.sha256,
        file.picture_sha256,
        Size(*file.size),
        file.format,
        file.ppi,
        rendition.settings.colour == "srgb",
        rendition.icc_profile_sha256,
        rendition.facts,
        Camera(
            camera.make,
            camera.model,
            camera.lens,
            _number(camera.exposure_s),
            _number(camera.f_number),
            camera.iso,
            _number(camera.focal_mm),
        ),
        rendition.target,
        rendition.channels,
    )


def _number(text: str | None) -> Fraction | None:
    return Fraction(text) if text else None
