"""Two frames in one picture: each half against the picture that it would be alone, and the gap between."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.box import Box, Point, Size
from pipeline.light.two_up import halves
from pipeline.plan.rendition import Beside, Crop
from pipeline.render.picture import make_picture
from pipeline.render.source import source_of
from pipeline.render.two_up import make_two_up
from tests.bench.frames import encoded, frame_light
from tests.quality.figure import Figure, exactly
from tests.render.charts import SCREEN, pixels_of
from tests.small_shoot import header_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.light.two_up import Layout
    from pipeline.render.picture import Picture
    from pipeline.render.source import Source

STEP = "two-up"
FRAME = Size(900, 600)
LAYOUTS: dict[Layout, Size] = {"side-by-side": Size(600, 375), "one-above-the-other": Size(400, 500)}
GAP_PX = 12


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure two frames in both layouts; `full` changes nothing here."""
    del full
    frames = [source_of(pixels_of(encoded(frame_light(name, FRAME), "srgb", 8))) for name in ("coffee", "rocket")]
    apart, dirt = 0, 0
    for layout, size in LAYOUTS.items():
        found = two_up(frames[0], frames[1], layout, size, GAP_PX).image.numpy().astype(int)
        gap = np.ones(found.shape[:2], bool)
        for source, place in zip(frames, halves(size, layout, GAP_PX), strict=True):
            alone = make_picture(source, box_for(FRAME, place.size), place.size, SCREEN).image.numpy()
            rows, columns = slice(place.top, place.bottom), slice(place.left, place.right)
            apart = max(apart, int(np.abs(found[rows, columns] - alone).max()))
            gap[rows, columns] = False
        dirt = max(dirt, int(np.abs(found[gap] - 255).max()))
    yield Figure(
        STEP, "each half, sharpened, against the picture that it is alone: largest difference", apart,
        exactly(0, "code values"), "house promise", "the picture alone", "no halo along the gap",
    )  # fmt: skip
    yield Figure(STEP, "the gap: furthest from white", dirt, exactly(0, "code values"), "house promise", "counted")


def two_up(first: Source, second: Source, layout: Layout, size: Size, gap_px: int) -> Picture:
    """Return two frames in one picture, the middle of each cut to its half."""
    halved = halves(size, layout, gap_px)
    crops = [
        Crop(box_for(Size(source.image.width, source.image.height), place.size), Point(0.5, 0.5), "no", 1.0, 0.0)
        for source, place in zip((first, second), halved, strict=True)
    ]
    frame = Size(second.image.width, second.image.height)
    header = header_of(Path("second.jpg"), (frame.width, frame.height))
    beside = Beside("second", "second.jpg", header, crops[1], layout, gap_px, size)
    return make_two_up(first, second, crops[0], beside, size, SCREEN)


def box_for(frame: Size, part: Size) -> Box:
    """Return the largest box of the shape of a part, in the middle of a frame."""
    scale = min(frame.width / part.width, frame.height / part.height)
    width, height = int(part.width * scale), int(part.height * scale)
    return Box((frame.width - width) // 2, (frame.height - height) // 2, width, height)
