"""Output sharpening: none, for a screen, for paper; the same crop at 100 %."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pipeline.light.sharpness import paper_radius_px
from tests.light import colour_science
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, enlarged, plate
from tests.render.charts import PLAIN, SCREEN, finished
from tests.render.slanted_edge import blurred_edge

if TYPE_CHECKING:
    from PIL import Image

    from tests.quality.plates.sheet import Codes

PAPER = replace(PLAIN, sharpen_radius_px=paper_radius_px(300, 300), sharpen_amount=1.0, halo_limit=0.20)
WAYS = (("not sharpened", PLAIN), ("for a screen", SCREEN), ("for paper, 300 ppi", PAPER))
# Frame, width in px, and where the crop lies in the picture.
PLACES = (("overhead.tif", 1600, (560, 560)), ("ingredients.jpg", 1600, (1080, 130)))
SIZE = (282, 250)
EDGE_SIGMA_PX, TIMES = 0.7, 6
NEAR = (40, 54, 47, 20)


def sharpening() -> Image.Image:
    """Return a plate: not sharpened, for a screen, for paper at 300 ppi: two places of the sample shoot, an edge."""
    rows = [
        [
            Crop(words, shoot.cut(shoot.codes(shoot.picture(name, width, settings)), *place, *SIZE))
            for words, settings in WAYS
        ]
        for name, width, place in PLACES
    ]
    edge = _edge()
    rows.append(
        [
            Crop(f"edge, {TIMES} x: {words}", enlarged(shoot.cut(finished(edge, settings=settings), *NEAR), TIMES))
            for words, settings in WAYS
        ]
    )
    return plate(rows)


def _edge() -> Codes:
    """Return a slanted edge under a Gaussian blur, from sRGB code 64 to 192."""
    low, high = (float(colour_science.linear(np.array(code / 255), colour_science.SRGB)) for code in (64, 192))
    light = blurred_edge(low, high, EDGE_SIGMA_PX)
    encoded = colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(light)
    return np.asarray(np.rint(255 * encoded)[..., None].repeat(3, 2), dtype=np.uint8)
