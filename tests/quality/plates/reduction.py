"""Reduction: linear light against the mean of code values, and glints against a plain Lanczos kernel."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from pipeline.light.box import Size
from tests.light import colour_science
from tests.quality.plates import shoot
from tests.quality.plates.sheet import Crop, enlarged, plate
from tests.render.charts import finished

if TYPE_CHECKING:
    from tests.quality.plates.sheet import Codes

SIDE, LOW = 424, 120
FACTOR = 2.5
LANCZOS = Image.Resampling.LANCZOS
TIMES, STRETCH = 8, 6
GREY = 118  # 18 % of the light


def linear_light() -> Image.Image:
    """Return a plate of pairs: at the left the mean of code values (Pillow's Lanczos), at the right ours."""
    soup = shoot.frame("oil-pour.jpg").image.numpy()
    pairs = (
        ("grid of 1 px, black and white", _grid(SIDE, LOW), (0, 0, SIDE, LOW)),
        ("zone plate", _zone_plate(), (0, 0, SIDE, SIDE)),
        ("glints on soup", soup, (250, 330, SIDE, 280)),
    )
    rows = []
    for name, picture, place in pairs:
        size = Size(round(picture.shape[1] / FACTOR), round(picture.shape[0] / FACTOR))
        averaged = np.asarray(Image.fromarray(picture).resize((size.width, size.height), LANCZOS))
        ours = finished(picture, size=size)
        rows.append(
            [
                Crop(f"{name}: code values averaged", shoot.cut(averaged, *place)),
                Crop(f"{name}: linear light", shoot.cut(ours, *place)),
            ]
        )
    return plate(rows)


def glints() -> Image.Image:
    """Return a plate: glints on 18 % grey under a plain Lanczos kernel in linear light, and ours."""
    picture = _glints()
    size = Size(SIDE, LOW)
    light = colour_science.linear(picture[..., 0] / 255, colour_science.SRGB).astype(np.float32)
    plain = np.asarray(Image.fromarray(light).resize((size.width, size.height), LANCZOS))
    encoded = colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(np.clip(plain, 0, 1))
    lanczos = np.repeat(np.rint(255 * encoded)[..., None], 3, 2).astype(np.uint8)
    ours = finished(picture, size=size)
    part = (0, 0, SIDE // TIMES, 200 // TIMES)
    return plate(
        [
            [Crop("glints of 1 to 4 px, reduced: Lanczos alone", lanczos), Crop("the same: ours", ours)],
            [
                Crop(f"left corner, {TIMES} x: Lanczos alone", enlarged(shoot.cut(lanczos, *part), TIMES)),
                Crop("the same: ours", enlarged(shoot.cut(ours, *part), TIMES)),
            ],
            [
                Crop(f"contrast around the grey {STRETCH} x: Lanczos alone", _stretched(shoot.cut(lanczos, *part))),
                Crop("the same: ours", _stretched(shoot.cut(ours, *part))),
            ],
        ]
    )


def _grid(width: int, height: int) -> Codes:
    tile = np.array([[0, 255], [255, 0]], np.uint8)[..., None]
    return np.tile(tile, (round(height * FACTOR / 2), round(width * FACTOR / 2), 3))


def _zone_plate() -> Codes:
    """Return rings of light that are finer the further out, up to half a cycle a pixel at the middle of each edge."""
    side = round(SIDE * FACTOR)
    y, x = np.mgrid[0:side, 0:side] - (side - 1) / 2
    light = 0.5 + 0.5 * np.cos(np.pi * (x**2 + y**2) / side)
    encoded = colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(light)
    return np.repeat(np.rint(255 * encoded)[..., None], 3, 2).astype(np.uint8)


def _glints() -> Codes:
    """Return clipped specks of 1 to 4 pixels on grey, one in each field of 20, at places that differ."""
    picture = np.full((round(LOW * FACTOR), round(SIDE * FACTOR), 3), GREY, np.uint8)
    random = np.random.default_rng(1)
    for top in range(10, picture.shape[0] - 10, 20):
        for left in range(10, picture.shape[1] - 10, 20):
            y, x = random.integers(0, 5, 2)
            high, wide = random.integers(1, 3, 2)
            picture[top + y : top + y + high, left + x : left + x + wide] = 255
    return picture


def _stretched(pixels: Codes) -> Codes:
    stretched = np.clip((pixels.astype(np.int32) - GREY) * STRETCH + GREY, 0, 255).astype(np.uint8)
    return enlarged(stretched, TIMES)
