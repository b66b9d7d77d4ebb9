"""From finished pixels to a bare file of a format: picture data and ICC profile, nothing else.

Everything that a reader learns beside the pixels is written afterwards, by `pipeline.render.containers`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pyvips

from pipeline.light.icc import write_matrix_profile

if TYPE_CHECKING:
    from pipeline.plan.rendition import OutputFormat
    from pipeline.render.picture import Picture

# Chroma is kept at full size where the format lets us choose: saturated red edges (tomatoes) fray without it.
JPEG_OPTIONS: dict[str, Any] = {"optimize_coding": True, "interlace": True, "subsample_mode": "off"}
WEBP_OPTIONS: dict[str, Any] = {"effort": 4, "smart_subsample": True}
AVIF_OPTIONS: dict[str, Any] = {"compression": "av1", "effort": 2, "subsample_mode": "off", "bitdepth": 8}
# LZW stands in TIFF 6.0 itself; deflate came later, and not every reader knows it (common practice, no source).
TIFF_OPTIONS: dict[str, Any] = {"compression": "lzw", "predictor": "horizontal"}
PNG_OPTIONS: dict[str, Any] = {"compression": 6, "filter": "all"}


def encode(picture: Picture, output_format: OutputFormat, quality: int) -> bytes:
    """Return the encoded file with its ICC profile. `quality` is 1..100; PNG and TIFF are lossless."""
    image = picture.image.copy()
    image.set_type(pyvips.GValue.blob_type, "icc-profile-data", write_matrix_profile(picture.space))
    saved: bytes
    if output_format == "jpeg":
        saved = image.jpegsave_buffer(Q=quality, keep="icc", **JPEG_OPTIONS)
    elif output_format == "webp":
        saved = image.webpsave_buffer(Q=quality, keep="icc", **WEBP_OPTIONS)
    elif output_format == "avif":
        saved = image.heifsave_buffer(Q=quality, keep="icc", **AVIF_OPTIONS)
    elif output_format == "png":
        saved = image.pngsave_buffer(keep="icc", **PNG_OPTIONS)
    else:
        saved = image.tiffsave_buffer(keep="icc", **TIFF_OPTIONS)
    return saved
