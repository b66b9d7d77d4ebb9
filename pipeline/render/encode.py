"""From finished pixels to a bare file of a format: picture data and ICC profile, nothing else.

Everything that a reader learns beside the pixels is written afterwards, by `pipeline.render.containers`. How the
efforts and options were chosen, with figures: docs/encoding.md.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

import pyvips

from pipeline.render.output_profile import icc_profile_of
from pipeline.render.plain_jpeg import plain_jpeg

if TYPE_CHECKING:
    from pipeline.plan.rendition import JpegTables, OutputFormat
    from pipeline.render.picture import Picture

Chroma = Literal["4:4:4", "4:2:0"]

# Progressive, with every table and the order of scans chosen for the picture, and coefficients for bytes and likeness.
JPEG_OPTIONS: dict[str, Any] = {
    "optimize_coding": True,
    "interlace": True,
    "optimize_scans": True,
    "trellis_quant": True,
    "overshoot_deringing": True,
}
BASELINE_OPTIONS: dict[str, Any] = {"optimize_coding": True}
# The Huffman tables that ITU-T T.81 prints (annex K.3): written in one pass, many times as fast.
STANDARD_OPTIONS: dict[str, Any] = {"optimize_coding": False}
WEBP_OPTIONS: dict[str, Any] = {"effort": 4, "smart_subsample": True}
# Chroma at full size: at half size AVIF saves nothing at the same fidelity, and loses the colour of edges.
AVIF_OPTIONS: dict[str, Any] = {"compression": "av1", "effort": 3, "subsample_mode": "off", "bitdepth": 8}
# LZW stands in TIFF 6.0 itself; deflate came later, and not every reader knows it (common practice, no source).
TIFF_OPTIONS: dict[str, Any] = {"compression": "lzw", "predictor": "horizontal"}
PNG_OPTIONS: dict[str, Any] = {"compression": 6, "filter": "all"}


def encode(
    picture: Picture,
    output_format: OutputFormat,
    quality: int,
    chroma: Chroma = "4:4:4",
    *,
    progressive: bool = True,
    tables: JpegTables = "fitted",
) -> bytes:
    """Return the encoded file with its ICC profile. `quality` is 1..100; PNG and TIFF are lossless.

    `chroma`, `progressive` and `tables` (Huffman) are of JPEG alone; a progressive file has fitted tables always, as
    the standard prints none for its scans.
    """
    profile = icc_profile_of(picture.space)
    if output_format == "jpeg" and tables == "standard" and not progressive:
        plain = plain_jpeg(picture.codes, profile, quality, chroma)
        if plain is not None:
            return plain
    image = picture.image.copy()
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", profile)
    saved: bytes
    if output_format == "jpeg":
        baseline = BASELINE_OPTIONS if tables == "fitted" else STANDARD_OPTIONS
        options = JPEG_OPTIONS if progressive else baseline
        halved = "on" if chroma == "4:2:0" else "off"
        saved = image.jpegsave_buffer(Q=quality, keep="icc", subsample_mode=halved, **options)
    elif output_format == "webp":
        saved = image.webpsave_buffer(Q=quality, keep="icc", **WEBP_OPTIONS)
    elif output_format == "avif":
        saved = image.heifsave_buffer(Q=quality, keep="icc", **AVIF_OPTIONS)
    elif output_format == "png":
        saved = image.pngsave_buffer(keep="icc", **PNG_OPTIONS)
    else:
        saved = image.tiffsave_buffer(keep="icc", **TIFF_OPTIONS)
    return saved
