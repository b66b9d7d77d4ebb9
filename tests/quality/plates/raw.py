"""A blown window out of a camera raw: colours left as they come, and cut off alike."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import rawpy

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light.box import Box, Size
from pipeline.render.picture import make_picture
from tests.frames.files import WHITE_BALANCE, dng, mosaic
from tests.light import colour_science
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, plate
from tests.render.charts import PLAIN

if TYPE_CHECKING:
    from PIL import Image

NAME, WIDTH, PLACE = "three-quarter.jpg", 1600, (60, 560, 424, 360)
STOPS = 2.3


def highlights() -> Image.Image:
    """Return a plate: a frame of the sample shoot as a sensor would have seen it with far too much light, developed.

    At the left by LibRaw with highlights as the sensor gives them, at the right by us.
    """
    codes = shoot.cut(shoot.codes(shoot.picture(NAME, WIDTH, PLAIN)), *PLACE)
    light = colour_science.linear(codes / 255, colour_science.SRGB) * 2**STOPS
    gains = np.array(WHITE_BALANCE)
    data = dng(mosaic(np.minimum(light / gains, 1) * gains))
    with rawpy.imread(io.BytesIO(data)) as opened:
        left_alone = opened.postprocess(
            use_camera_wb=True,
            no_auto_bright=True,
            highlight_mode=rawpy.HighlightMode.Ignore,
            output_color=rawpy.ColorSpace.sRGB,
            gamma=(2.4, 12.92),
        )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "frame.dng"
        path.write_bytes(data)
        pixels = decode(read_header(path, name=path.name, pixel_limit=10**7), name=path.name)
    size = Size(pixels.image.width, pixels.image.height)
    ours = make_picture(pixels, Box(0, 0, size.width, size.height), size, PLAIN).image.numpy()
    return plate([[Crop("LibRaw, highlights as they come", left_alone), Crop("ours: cut off alike, white", ours)]])
