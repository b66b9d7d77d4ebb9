"""Real encoded pictures for the container tests: what libvips writes, and a few that only others write."""

from __future__ import annotations

import io
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pyvips
import tifffile

from pipeline.frames.header import CameraFacts
from pipeline.light.box import Size
from pipeline.plan.facts import PictureFacts
from pipeline.render.containers.embed import Embedded
from pipeline.render.exif import exif_block
from pipeline.render.iim import iim_block
from pipeline.render.xmp import xmp_packet

if TYPE_CHECKING:
    from pipeline.plan.facts import Policy
    from pipeline.plan.rendition import OutputFormat

SIZE = Size(131, 300)  # odd, and more than one strip of libvips (128 rows)

FACTS = PictureFacts(
    language="en",
    title="Crème de tomate 🍅",
    description='Soup & bread; "hot", <fresh>, حساء الطماطم',
    alt="A bowl of tomato soup, crème on top 🥣, שלום",
    creators=("Ana Exämple", "Bo 李"),
    credit_line="Ana Exämple / Küche",
    copyright="© 2026 Ana Exämple",
    licence_url="https://kitchen.example/licence",
    acquire_url="https://kitchen.example/buy?a=1&b=é",
    usage_terms="Ask first. Für Zeitungen frei.",
    keywords=("soup", "crème", "שוק"),
    date_created="2026-09-12T10:24:31+02:00",
    job_id="2026-37/é",
    instructions="Proof: all rights reserved, not for publication",
)
CAMERA = CameraFacts(
    make="Invented", model="One", lens="One 50 mm", exposure_s=Fraction(1, 60), f_number=Fraction(14, 5),
    iso=400, focal_mm=Fraction(50), taken="2026-09-12T10:24:31+02:00", position=True, serials=True,
)  # fmt: skip

NAMES = (
    "jpeg", "jpeg-progressive", "jpeg-grey", "jpeg-restarts",
    "png", "png-alpha", "png-grey", "png-16", "png-interlaced",
    "webp", "webp-lossless", "webp-alpha", "webp-lossless-alpha", "webp-bare", "webp-lossless-bare",
    "tiff-deflate", "tiff-lzw", "tiff-tiles", "tiff-16", "tiff-grey", "tiff-big-endian-16",
    "avif", "avif-alpha", "avif-bare", "avif-grey",
)  # fmt: skip


def format_of(name: str) -> OutputFormat:
    """Return the format a picture of `NAMES` is in."""
    formats: tuple[OutputFormat, ...] = ("jpeg", "png", "webp", "tiff", "avif")
    return next(one for one in formats if name.startswith(one))


def embedded(facts: PictureFacts = FACTS, policy: Policy = "full", ppi: float = 300, size: Size = SIZE) -> Embedded:
    """Return what the pipeline would embed for these facts."""
    exif = exif_block(facts, policy, CAMERA, size, ppi, srgb=False)
    return Embedded(exif, xmp_packet(facts, policy), iim_block(facts, policy), ppi)


def samples(size: Size = SIZE) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    """Return (h, w, 3) encoded values 0..255: two ramps and their sum."""
    rows, columns = np.mgrid[0 : size.height, 0 : size.width]
    planes = (columns * 255 // max(size.width - 1, 1), rows * 255 // max(size.height - 1, 1), (rows + columns) % 256)
    return np.stack(planes, axis=-1).astype(np.uint8)


@cache
def encoded(name: str, size: Size = SIZE) -> bytes:
    """Return the picture as the named saver of the pipeline writes it, with an ICC profile unless it is "bare"."""
    colour = pyvips.Image.new_from_array(samples(size)).copy(interpretation="srgb")
    colour = colour.icc_transform("p3", input_profile="srgb")
    grey = pyvips.Image.new_from_array(samples(size)[..., 0]).copy(interpretation="b-w")
    alpha = colour.bandjoin(colour[0].linear(-1, 255).cast("uchar"))
    wide = (colour.cast("ushort") * 257).cast("ushort").copy(interpretation="rgb16")
    icc = {"keep": "icc"}
    tiff = {"keep": "icc", "compression": "deflate", "predictor": "horizontal"}
    avif = {"keep": "icc", "compression": "av1", "effort": 2}
    match name:
        case "jpeg":
            written = colour.jpegsave_buffer(**icc)
        case "jpeg-progressive":
            written = colour.jpegsave_buffer(interlace=True, optimize_coding=True, **icc)
        case "jpeg-grey":
            written = grey.jpegsave_buffer(**icc)
        case "jpeg-restarts":
            written = colour.jpegsave_buffer(restart_interval=3, **icc)
        case "png":
            written = colour.pngsave_buffer(**icc)
        case "png-alpha":
            written = alpha.pngsave_buffer(**icc)
        case "png-grey":
            written = grey.pngsave_buffer(**icc)
        case "png-16":
            written = wide.pngsave_buffer(**icc)
        case "png-interlaced":
            written = colour.pngsave_buffer(interlace=True, **icc)
        case "webp":
            written = colour.webpsave_buffer(**icc)
        case "webp-lossless":
            written = colour.webpsave_buffer(lossless=True, **icc)
        case "webp-alpha":
            written = alpha.webpsave_buffer(**icc)
        case "webp-lossless-alpha":
            written = alpha.webpsave_buffer(lossless=True, keep="none")
        case "webp-bare":
            written = colour.webpsave_buffer(keep="none")
        case "webp-lossless-bare":
            written = colour.webpsave_buffer(lossless=True, keep="none")
        case "tiff-deflate":
            written = colour.tiffsave_buffer(**tiff)
        case "tiff-lzw":
            written = colour.tiffsave_buffer(compression="lzw", **icc)
        case "tiff-tiles":
            written = colour.tiffsave_buffer(tile=True, tile_width=64, tile_height=64, **tiff)
        case "tiff-16":
            written = wide.tiffsave_buffer(**tiff)
        case "tiff-grey":
            written = grey.tiffsave_buffer(**tiff)
        case "tiff-big-endian-16":
            stream = io.BytesIO()
            values = samples(size).astype(np.uint16) * 257
            tifffile.imwrite(stream, values, byteorder=">", photometric="rgb", compression="zlib", rowsperstrip=64)
            written = stream.getvalue()
        case "avif":
            written = colour.heifsave_buffer(**avif)
        case "avif-alpha":
            written = alpha.heifsave_buffer(**avif)
        case "avif-bare":
            written = colour.heifsave_buffer(**avif | {"keep": "none"})
        case "avif-grey":
            written = grey.heifsave_buffer(**avif)
        case _:
            raise KeyError(name)
    return bytes(written)
