"""Levelling: one resampling beside two."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from pipeline.light.box import Box, Point, Size
from pipeline.light.turn import Turn
from pipeline.render.picture import make_picture
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, enlarged, plate
from tests.render.charts import PLAIN, finished

if TYPE_CHECKING:
    from tests.quality.plates.sheet import Codes

NAME, TURN_DEG, REDUCED = "ingredients.jpg", 8.7, 1.5
CORNER = Point(0.645, 0.69)  # of the board, in the frame
SIZE, NEAR, TIMES = (282, 250), (130, 115, 94, 70), 3


def turn() -> Image.Image:
    """Return a plate: a board as shot; levelled and reduced at once; turned with a bicubic kernel, then reduced."""
    frame = shoot.frame(NAME)
    level = Turn(Size(frame.image.width, frame.image.height), TURN_DEG)
    turned, corner = level.size, level.point(CORNER)
    size = Size(round(turned.width / REDUCED), round(turned.height / REDUCED))
    ours = shoot.codes(make_picture(frame, Box(0, 0, turned.width, turned.height), size, PLAIN, TURN_DEG))
    as_shot = shoot.codes(shoot.picture(NAME, round(frame.image.width / REDUCED), PLAIN))
    crops = (
        ("as shot", _around(as_shot, CORNER)),
        (f"turn_deg = {TURN_DEG}", _around(ours, corner)),
        ("turned, then reduced", _around(_in_two_steps(turned, size), corner)),
    )
    return plate(
        [
            [Crop(words, pixels) for words, pixels in crops],
            [Crop(f"{TIMES} x: {words}", enlarged(shoot.cut(pixels, *NEAR), TIMES)) for words, pixels in crops],
        ]
    )


def _around(pixels: Codes, place: Point) -> Codes:
    """Return the crop around a place, a fraction of the picture."""
    height, width = pixels.shape[:2]
    return shoot.cut(pixels, round(place.x * width) - SIZE[0] // 2, round(place.y * height) - SIZE[1] // 2, *SIZE)


def _in_two_steps(turned: Size, size: Size) -> Codes:
    """Return the same by Pillow's bicubic turn of code values, then our reduction."""
    codes = shoot.frame(NAME).image.numpy()
    whole = Image.fromarray(codes).rotate(-TURN_DEG, resample=Image.Resampling.BICUBIC)
    left, top = (whole.width - turned.width) // 2, (whole.height - turned.height) // 2
    cut = whole.crop((left, top, left + turned.width, top + turned.height))
    return finished(np.asarray(cut), size=size)
