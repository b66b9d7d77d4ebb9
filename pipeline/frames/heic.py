"""HEIC pictures, decoded by libheif out of the optional extra `plateline[heic]`; read only, never written.

The libheif inside libvips reads their headers but has no HEVC decoder, for the usual ones are under the GPL. A header
is therefore read like that of an AVIF (`read_header`), and only the pixels come through here. Container transformations
(`irot`, `imir`, `clap`) are applied by libheif; the Exif orientation that phones write beside them says the same once
more and is not applied (ISO/IEC 23000-22 7.3.6.7 and ISO/IEC 23008-12 6.5.10, from memory).
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

from pipeline.frames import refusal

if TYPE_CHECKING:
    from pathlib import Path

    import pyvips

    from pipeline.faults import FrameUnreadable

EXTRA = "plateline[heic]"
EXPORT = "export it as JPEG or TIFF"

# Bands of libheif's layouts, whose names end in ";16" for more than 8 bits; "a" is colour multiplied by alpha.
BANDS = {"L": 1, "I": 1, "LA": 2, "La": 2, "RGB": 3, "RGBA": 4, "RGBa": 4}


class Damaged(Exception):  # noqa: N818 (it is what was found)
    """The picture is damaged or cut short; the words are libheif's, not for the photographer."""


def require_decoder(name: str) -> None:
    """Raise FrameUnreadable where the extra is not installed. Loads nothing."""
    if find_spec("pillow_heif") is None:
        raise _no_decoder(name)


def decode_heic(path: Path, *, name: str) -> pyvips.Image:
    """Return the main picture in memory, turned by its container: RGB, uchar or ushort, alpha last where it has one.

    Values of 10 and 12 bits are shifted up to 16 and leave white short of 65535, as libvips does with AVIF. Grey comes
    out as three equal bands. Raises Damaged, OSError where the file cannot be opened, and FrameUnreadable where the
    extra is missing or the picture is of an unknown kind.
    """
    import pillow_heif  # noqa: PLC0415 (an optional extra, and heavy)
    import pyvips  # noqa: PLC0415 (heavy; only verbs that decode load it)

    data = path.read_bytes()
    try:
        picture = pillow_heif.open_heif(data, convert_hdr_to_8bit=False)
        mode, (width, height), values = picture.mode, picture.size, picture.data
    except ImportError as error:
        raise _no_decoder(name) from error
    except (ValueError, RuntimeError, EOFError, SyntaxError) as error:
        raise Damaged(str(error)) from error
    layout, _, depth = mode.partition(";")
    if layout not in BANDS:
        raise refusal.unreadable(name, f"is a HEIC picture of a kind not handled here ({mode})", EXPORT)
    kind, white, colours = ("ushort", 65535, "rgb16") if depth else ("uchar", 255, "srgb")
    image = pyvips.Image.new_from_memory(values, width, height, BANDS[layout], kind)
    if layout.endswith("a"):
        image = image.unpremultiply(max_alpha=white).rint().cast(kind)
    if image.bands < 3:
        image = image[0].bandjoin([image[band] for band in (0, 0, 1)[: image.bands + 1]])
    return image.copy(interpretation=colours)


def _no_decoder(name: str) -> FrameUnreadable:
    found = "is a HEIC picture, and the part of plateline that reads those is not installed"
    return refusal.unreadable(name, found, f"install it (pip install '{EXTRA}'), or export the frame as JPEG or TIFF")
