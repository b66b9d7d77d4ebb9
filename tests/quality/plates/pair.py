"""Two frames in one picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.light.box import Size
from pipeline.render.source import source_of
from tests.quality.pair import two_up
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, plate

if TYPE_CHECKING:
    from PIL import Image

FRAMES = ("ingredients.jpg", "overhead.tif")
SIZE, GAP_PX = Size(864, 540), 12


def pair() -> Image.Image:
    """Return a plate: a whole two-up, as it is delivered."""
    first, second = (source_of(shoot.frame(name)) for name in FRAMES)
    made = two_up(first, second, "side-by-side", SIZE, GAP_PX)
    return plate([[Crop(f"{SIZE.width} x {SIZE.height}, gap_px = {GAP_PX}", shoot.codes(made))]])
