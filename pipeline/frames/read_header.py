"""Read what a frame's header says, without decoding a pixel, and refuse what cannot become a picture."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, BinaryIO

from pipeline.frames import camera_facts, refusal
from pipeline.frames.claim import claimed_size
from pipeline.frames.colour_tag import HDR_TRANSFERS, code_points, tagged_profile
from pipeline.frames.complete import is_cut_short
from pipeline.frames.header import Header
from pipeline.frames.heic import require_decoder
from pipeline.frames.loaders import colour_bands, field, open_lazily
from pipeline.frames.raw import raw_header
from pipeline.frames.sniff import HEAD_BYTES, PHOTOMETRIC, looks_like, sniff_stream
from pipeline.frames.stated import stated_words
from pipeline.frames.tiff import Tiff, open_tiff
from pipeline.light.box import Size

if TYPE_CHECKING:
    from pathlib import Path

    import pyvips

    from pipeline.frames.header import FrameFormat

FORMATS = "a frame is a JPEG, TIFF, PNG, WebP, AVIF, HEIC or camera raw file"
EXPORT = "export it as JPEG, or as TIFF with 8 or 16 bits"

NEW_SUBFILE_TYPE, REDUCED = 254, 1
EXTRA_SAMPLES = 338
TRANSPARENCY = {1, 2}  # associated and unassociated alpha; 0 is a mask or spot channel (TIFF 6.0 p. 31)
CIE_LAB = (8, 9, 10)
TURNED_BY_CONTAINER = ("avif", "heic")


def read_header(path: Path, *, name: str, pixel_limit: int) -> Header:
    """Return the header of the frame at `path`, its size upright.

    `name` is how the job writes the file, for the fault. Raises FrameUnreadable with one sentence for
    everything that is no frame, and for a claimed size above `pixel_limit` before any decoder sees it.
    """
    try:
        if path.is_dir():
            raise refusal.unreadable(name, "is a folder", "name one picture file in it")
        if path.exists() and not path.is_file():
            raise refusal.unreadable(name, "is not an ordinary file", FORMATS)
        with path.open("rb") as stream:
            header = _read(stream, path, name=name, pixel_limit=pixel_limit)
    except OSError as error:
        raise refusal.unopened(name, error) from error
    return replace(header, stated=stated_words(path, header.format))


def _read(stream: BinaryIO, path: Path, *, name: str, pixel_limit: int) -> Header:
    frame_format = _recognised(stream, name)
    if frame_format == "raw":
        return raw_header(path, name=name, pixel_limit=pixel_limit)
    claimed = claimed_size(stream, frame_format)
    if claimed is None:
        raise refusal.unreadable(name, f"is a {_words(frame_format)} whose header is cut short or damaged")
    if claimed.pixels > pixel_limit:
        raise refusal.too_many_pixels(name, claimed.width, claimed.height, pixel_limit)
    tiff = open_tiff(stream) if frame_format == "tiff" else None
    if tiff:
        _refuse_thumbnail(tiff, name)
    image = _opened(stream, path, frame_format, name)
    if image.width * image.height > pixel_limit:
        raise refusal.too_many_pixels(name, image.width, image.height, pixel_limit)
    colour = colour_bands(image)
    if colour is None:
        raise refusal.unreadable(name, f"holds {_kind(image)}, which are no picture values handled here", EXPORT)
    exif = field(image, "exif-data", None)
    embedded = field(image, "icc-profile-data", None)
    code = code_points(stream, frame_format)
    if code and code.transfer in HDR_TRANSFERS and not (embedded and frame_format in TURNED_BY_CONTAINER):
        raise refusal.unreadable(name, "is coded for HDR screens (PQ or HLG)", "export it for ordinary screens (SDR)")
    # These decoders turn by the container's own boxes; Exif there must not turn the frame once more.
    orientation = 1 if frame_format in TURNED_BY_CONTAINER else camera_facts.orientation(exif)
    if tiff:
        orientation = camera_facts.tiff_orientation(tiff)
    size = Size(image.width, image.height)
    return Header(
        path=path,
        format=frame_format,
        size=Size(size.height, size.width) if orientation >= 5 else size,
        orientation=orientation,
        bands=image.bands,
        bits=field(image, "bits-per-sample", 8),
        alpha=image.bands > colour and (tiff is None or _is_transparent(tiff)),
        icc_profile=tagged_profile(stream, frame_format, embedded, exif),
        camera=camera_facts.tiff_facts(tiff) if tiff else camera_facts.camera_facts(exif),
    )


def _recognised(stream: BinaryIO, name: str) -> FrameFormat:
    """Return the format by content. Raises FrameUnreadable for HEIC without its decoder and for what is no frame."""
    stream.seek(0)
    head = stream.read(HEAD_BYTES)
    if not head:
        raise refusal.unreadable(name, "is empty (0 bytes)", "copy it from the card again")
    frame_format = sniff_stream(stream)
    if frame_format == "heic":
        require_decoder(name)
    if frame_format is None:
        raise refusal.unreadable(name, f"is no picture: it looks like {looks_like(head)}", FORMATS)
    return frame_format


def _opened(stream: BinaryIO, path: Path, frame_format: FrameFormat, name: str) -> pyvips.Image:
    """Return the lazily opened image. Raises FrameUnreadable where libvips cannot make sense of the header."""
    import pyvips  # noqa: PLC0415 (heavy; only verbs that read frames load it)

    try:
        return open_lazily(path, frame_format)
    except pyvips.Error as error:
        if is_cut_short(stream, frame_format):
            raise refusal.unreadable(name, refusal.CUT_SHORT) from error
        found = f"is a {_words(frame_format)} that is damaged or of a kind not handled here"
        raise refusal.unreadable(name, found, EXPORT) from error


def _refuse_thumbnail(tiff: Tiff, name: str) -> None:
    """Raise FrameUnreadable for a TIFF whose first picture is not the picture: a preview, or part of a cut file."""
    walk = tiff.walk()
    first = walk.directories[0]
    if (tiff.number(first.entries.get(NEW_SUBFILE_TYPE)) or 0) & REDUCED:
        raise refusal.unreadable(name, "is a TIFF whose first picture is only a small preview", EXPORT)
    if walk.dangling:
        raise refusal.unreadable(name, "is cut short: a picture that it announces is missing")
    if tiff.number(first.entries.get(PHOTOMETRIC)) in CIE_LAB:
        raise refusal.unreadable(name, "holds its colours as Lab", "export it as RGB")


def _is_transparent(tiff: Tiff) -> bool:
    """Return whether the first band beyond colour is transparency, not a mask or spot channel."""
    first = tiff.directory(tiff.first)
    return first is not None and tiff.number(first.entries.get(EXTRA_SAMPLES)) in TRANSPARENCY


def _words(frame_format: FrameFormat) -> str:
    return {"png": "PNG", "webp": "WebP", "avif": "AVIF", "heic": "HEIC", "tiff": "TIFF", "jpeg": "JPEG"}[frame_format]


def _kind(image: pyvips.Image) -> str:
    """Return in words what the pixels are."""
    if image.format in ("float", "double"):
        return "floating-point pixels"
    if image.format not in ("uchar", "ushort"):
        return f"{field(image, 'bits-per-sample', 32)}-bit whole-number pixels"
    return f"{image.bands} channels that are not grey, RGB or CMYK"
