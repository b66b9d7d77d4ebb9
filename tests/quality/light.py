"""Reduction in linear light: greys of mixed detail, zone plates, a glint, means and constants."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from pipeline.frames.pixels import decode
from pipeline.frames.read_header import read_header
from pipeline.light import spaces
from pipeline.light.box import Box, Size
from pipeline.render import compiled
from pipeline.render.colour import matrix_of
from pipeline.render.picture import make_picture
from tests.light import colour_science
from tests.quality.figure import Figure, at_most, exactly
from tests.render.charts import PLAIN, Array, finished

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.light.colour_science import Floats

    Reduction = Callable[[Floats, Size], Floats]

LANCZOS, CATMULL_ROM = Image.Resampling.LANCZOS, Image.Resampling.BICUBIC

STEP = "linear light"
SRGB = "IEC 61966-2-1"
HOUSE = "house choice"
FLOAT = "numpy, float64; Pillow"

# The mean of the light, encoded, by hand: 187.5, 136.96, 146.4. The mean of the code values would be the last number.
TILES = (
    ("black and white grid of 1 px", [[0, 255], [255, 0]], 188, 128),
    ("one white pixel in four", [[255, 0], [0, 0]], 137, 64),
    ("grid of 64 and 192", [[64, 192], [192, 64]], 146, 128),
)

PLATE_SIDE = 1050
PLATE_SIDES = (420, 318, 150)  # reduced 2.5, 3.3 and 7 times
BEYOND = 1.4  # times the new Nyquist frequency: from its square root of two on, no direction may pass

INNER = slice(8, -8)

GREY = 0.18
GLINT_SIDE, GLINT_REDUCED = 75, 30  # 2.5 times; the grid of places repeats after five pixels
GLINT_PERIOD = 5


def figures(*, full: bool) -> Iterator[Figure]:
    """Measure the reduction; `full` changes nothing here."""
    del full
    for name, tile, level, averaged in TILES:
        picture = np.tile(np.array(tile, np.uint8)[..., None], (100, 100, 3))
        reduced = [finished(picture, size=Size(side, side))[INNER, INNER] for side in (100, 80, 66, 50)]
        worst = _furthest(np.concatenate([each.ravel() for each in reduced]), level)
        beside = f"the mean of the code values is {averaged}"
        yield Figure(STEP, f"{name}, reduced 2 to 4 times", worst, exactly(level), SRGB, "arithmetic by hand", beside)
    yield Figure(
        STEP, "the same grid as a JPEG frame, reduced 8 times", _grid_from_jpeg(), exactly(188), SRGB,
        "arithmetic by hand", "a decoder that shrinks on load gives 128",
    )  # fmt: skip
    for side in PLATE_SIDES:
        ours, by_lanczos = (_plate_rest(each, side) for each in (_reduced, _by_pillow(LANCZOS)))
        yield Figure(
            STEP, f"zone plate reduced {PLATE_SIDE / side:.1f} times: RMS left of what is above {BEYOND} x Nyquist",
            100 * ours, at_most(4, "%"), HOUSE, FLOAT, f"Lanczos of three lobes, float64: {100 * by_lanczos:.1f} %",
        )  # fmt: skip
    lanczos, catmull_rom = (_glint_dip(_by_pillow(each)) for each in (LANCZOS, CATMULL_ROM))
    yield Figure(
        STEP, "one clipped pixel on 18 % grey, reduced 2.5 times: dip of the grey beside it", _glint_dip(_reduced),
        at_most(3, "code values"), HOUSE, FLOAT, f"Lanczos of three lobes {lanczos:.1f}, Catmull-Rom {catmull_rom:.1f}",
    )  # fmt: skip
    yield Figure(STEP, "mean of linear light kept within", 100 * _mean_lost(), at_most(0.1, "%"), HOUSE, FLOAT)
    yield Figure(
        STEP,
        "a constant picture stays constant within",
        _constant_moved(),
        at_most(1e-5),
        "under one level of 16 bits",
        FLOAT,
    )


def _reduced(light: Floats, size: Size) -> Floats:
    """Return linear light (h, w) as the sweep reduces it."""
    frame = compiled.Frame(np.repeat(light[..., None], 3, axis=2).astype(np.float32), matrix_of(spaces.SRGB))
    whole = Box(0, 0, light.shape[1], light.shape[0])
    wanted = compiled.Wanted("light", whole, size, matrix_of(spaces.SRGB), None)
    return np.asarray(compiled.sweep(frame, [wanted])[0].picture[..., 0], dtype=np.float64)


def _by_pillow(kernel: Image.Resampling) -> Reduction:
    """Return the reduction of linear light by Pillow's kernel in floating point, held to 0..1 as ours is."""

    def reduction(light: Floats, size: Size) -> Floats:
        image = Image.fromarray(light.astype(np.float32)).resize((size.width, size.height), kernel)
        return np.clip(np.asarray(image, dtype=np.float64), 0, 1)

    return reduction


def _code(light: float) -> float:
    return 255 * float(colour_science.colour.RGB_COLOURSPACES[colour_science.SRGB].cctf_encoding(light))


def _grid_from_jpeg() -> int:
    """Return the level of a grid saved as JPEG (4:4:4), decoded as a frame and reduced: the one furthest from 188."""
    grid = np.tile(np.array([[0, 255], [255, 0]], np.uint8)[..., None], (256, 256, 3))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "grid.jpg"
        Image.fromarray(grid).save(path, quality=100, subsampling=0)
        pixels = decode(read_header(path, name=path.name, pixel_limit=10**8), name=path.name)
    found = make_picture(pixels, Box(0, 0, 512, 512), Size(64, 64), PLAIN).image.numpy()[INNER, INNER]
    return _furthest(found, 188)


def _furthest(codes: Array, level: int) -> int:
    """Return the code that is furthest from a level."""
    return max((int(code) for code in np.unique(codes)), key=lambda code: abs(code - level))


def _plate_rest(reduction: Reduction, side: int) -> float:
    """Return the RMS that is left of a zone plate where it was too fine for the new size, as a share of the input's.

    The plate's frequency rises from its middle to half a cycle a pixel at the middle of its edges.
    """

    def rms_beyond(plate: Floats, pitch: float) -> float:
        y, x = (np.mgrid[0 : len(plate), 0 : len(plate)] - (len(plate) - 1) / 2) * pitch
        fineness = np.hypot(x, y) / PLATE_SIDE  # cycles a pixel of the plate
        beyond = (fineness > BEYOND * 0.5 * side / PLATE_SIDE) & (fineness < 0.5)
        return float(np.sqrt(np.mean((plate[beyond] - 0.5) ** 2)))

    y, x = np.mgrid[0:PLATE_SIDE, 0:PLATE_SIDE] - (PLATE_SIDE - 1) / 2
    plate = 0.5 + 0.5 * np.cos(np.pi * (x**2 + y**2) / PLATE_SIDE)
    return rms_beyond(reduction(plate, Size(side, side)), PLATE_SIDE / side) / rms_beyond(plate, 1.0)


def _glint_dip(reduction: Reduction) -> float:
    """Return how many 8-bit levels the grey beside a glint falls by, wherever the glint lies."""
    deepest = GREY
    for row in range(GLINT_PERIOD):
        for column in range(GLINT_PERIOD):
            light = np.full((GLINT_SIDE, GLINT_SIDE), GREY)
            light[GLINT_SIDE // 2 + row, GLINT_SIDE // 2 + column] = 1.0
            deepest = min(deepest, float(reduction(light, Size(GLINT_REDUCED, GLINT_REDUCED)).min()))
    return _code(GREY) - _code(deepest)


def _mean_lost() -> float:
    """Return by how much (a share) the mean of linear light moves at worst: waves, stripes, a plate on a dark table."""
    y, x = np.mgrid[0:1200, 0:1600] / 1200
    waves = 0.5 + 0.4 * np.sin(9 * x) * np.cos(7 * y)
    stripes = (x * 10 % 1 > 0.5) * 0.7 + 0.1
    plate = ((x - 0.6) ** 2 + (y - 0.5) ** 2 < 0.16) * 0.8 + 0.02
    sizes = (Size(800, 600), Size(533, 400), Size(401, 301), Size(200, 150))
    pictures = (waves, stripes, plate)
    return max(
        abs(float(_reduced(picture, size).mean()) / float(picture.mean()) - 1) for picture in pictures for size in sizes
    )


def _constant_moved() -> float:
    """Return by how much a constant picture moves at worst."""
    sizes = ((Size(300, 200), Size(299, 61)), (Size(97, 131), Size(31, 130)), (Size(256, 256), Size(10, 9)))
    return max(
        float(np.abs(_reduced(np.full((source.height, source.width), value), target) - value).max())
        for source, target in sizes
        for value in (0.0, 0.18, 0.5, 1.0)
    )
