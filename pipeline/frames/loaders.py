"""The one place where a picture file is opened with libvips: loader by content, strict, lazy.

libvips reports through the "pyvips" logger, which pyvips itself keeps silent by default; its own words
never reach the photographer.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    import pyvips

    from pipeline.frames.header import FrameFormat

LOADERS: dict[FrameFormat, str] = {
    "jpeg": "jpegload",
    "png": "pngload",
    "webp": "webpload",
    "avif": "heifload",
    "heic": "heifload",
    "tiff": "tiffload",
}
# How much a loader forgives grows from "warning" to "none". A damaged JPEG scan is but a warning, and grey
# bands follow it; of a TIFF, private tags are a warning, and a missing strip is an error.
STRICTNESS: dict[FrameFormat, str] = {"jpeg": "warning"}

COLOUR_BANDS = {"srgb": 3, "rgb": 3, "rgb16": 3, "b-w": 1, "grey16": 1, "cmyk": 4}


def open_lazily(path: Path, frame_format: FrameFormat) -> pyvips.Image:
    """Return the frame as libvips sees it: the header is read, pixels only when asked for, top to bottom.

    The main picture of an AVIF or HEIC (of which only the header can be read here, see `heic.py`), the first page of a
    TIFF, the first picture of an animation.
    Raises pyvips.Error.
    """
    import pyvips  # noqa: PLC0415 (heavy; only verbs that read frames load it)

    load = getattr(pyvips.Image, LOADERS[frame_format])
    settings: dict[str, Any] = {
        "access": "sequential",
        "fail_on": STRICTNESS.get(frame_format, "error"),
        "revalidate": True,
    }
    image = load(str(path), **settings)
    if LOADERS[frame_format] == "heifload" and (main := field(image, "heif-primary", 0)):
        return load(str(path), page=main, **settings)
    return image


def field(image: pyvips.Image, name: str, default: Any) -> Any:  # noqa: ANN401 (libvips fields are of any type)
    """Return a field of an image's header, or the default where it has none."""
    return image.get(name) if image.get_typeof(name) else default


def colour_bands(image: pyvips.Image) -> int | None:
    """Return how many bands are colour (1 grey, 3 RGB, 4 CMYK); None where the pixels are of no kind handled here."""
    if image.format not in ("uchar", "ushort"):
        return None
    count = COLOUR_BANDS.get(image.interpretation)
    return count if count is not None and image.bands >= count else None
