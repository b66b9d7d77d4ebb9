"""A picture for the press: as sRGB, as CMYK seen on a screen, and how much ink it lays down."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pyvips

from pipeline.render.picture import on_screen
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, plate
from tests.render.charts import PLAIN

if TYPE_CHECKING:
    from PIL import Image

PRESS = replace(PLAIN, colour="press", icc_profile=bytes(pyvips.Image.profile_load("cmyk")))  # the one inside libvips
PLACES = (("tomatoes.jpg", 1600, (560, 300)), ("overhead.tif", 1600, (560, 560)))
SIZE = (282, 250)
MOST_INK = 400


def press() -> Image.Image:
    """Return a plate: sRGB; CMYK, relative colorimetric, as a screen shows it; total ink as grey."""
    rows = []
    for name, width, place in PLACES:
        made = shoot.picture(name, width, PRESS)
        screen, shown, inks = (
            shoot.cut(shoot.codes(each), *place, *SIZE)
            for each in (shoot.picture(name, width, PLAIN), on_screen(made), made)
        )
        total = inks.sum(axis=2) * (100 / 255)
        grey = np.rint(255 * (1 - total / MOST_INK)).astype(np.uint8)[..., None].repeat(3, 2)
        rows.append(
            [
                Crop("sRGB", screen),
                Crop("CMYK, seen on a screen", shown),
                Crop(f"ink, black is {MOST_INK} %: at most {total.max():.0f} %", grey),
            ]
        )
    return plate(rows)
