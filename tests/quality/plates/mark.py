"""The mark of a proof, on light and on dark."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, plate
from tests.render.charts import SCREEN

if TYPE_CHECKING:
    from PIL import Image

WORDS = "Proof · Roasted tomato and white bean soup · for Tidewater Beans"
PLACES = (("overexposed.jpg", 1000, "on blown cloth", (290, 205)), ("warm-bulb.jpg", 1000, "in shadow", (60, 230)))
SIZE = (424, 360)


def proof_mark() -> Image.Image:
    """Return a plate: the middle of two frames 1000 px wide, marked."""
    marked = replace(SCREEN, mark=WORDS)
    row = [
        Crop(words, shoot.cut(shoot.codes(shoot.picture(name, width, marked)), *place, *SIZE))
        for name, width, words, place in PLACES
    ]
    return plate([row])
