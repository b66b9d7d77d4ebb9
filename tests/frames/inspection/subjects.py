"""Pictures with a known subject: photographs that packages ship, composites made of them, and the sample shoot.

How the marks were judged: the photographs' boxes were read by eye off a grid of tenths laid over each picture, round
the whole of the one thing that it shows, before any finder was run on them; a composite's box is where its subject was
put; the sample's are the keep boxes of its job file. Boxes are fractions (left, top, right, bottom).
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from pipeline.light.box import Region

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

SAMPLE = Path(__file__).parents[3] / "sample_shoot"
SHIPPED = {
    "astronaut.png": ("skimage.data", Region(0.06, 0.05, 0.75, 1.0)),
    "camera.png": ("skimage.data", Region(0.02, 0.11, 0.78, 1.0)),
    "chelsea.png": ("skimage.data", Region(0.10, 0.0, 0.80, 0.95)),
    "coffee.png": ("skimage.data", Region(0.11, 0.04, 0.80, 0.97)),
    "horse.png": ("skimage.data", Region(0.03, 0.03, 0.98, 0.98)),
    "rocket.jpg": ("skimage.data", Region(0.46, 0.30, 0.56, 0.98)),
    "motorcycle_left.png": ("skimage.data", Region(0.15, 0.15, 0.93, 0.92)),
    "clock_motion.png": ("skimage.data", Region(0.36, 0.33, 0.71, 0.73)),
    "flower.jpg": ("sklearn.datasets.images", Region(0.27, 0.20, 0.70, 0.84)),
    "china.jpg": ("sklearn.datasets.images", Region(0.10, 0.07, 0.59, 0.95)),
}
COMPOSITES = 48
WIDE, TALL = (960, 640), (640, 960)


@dataclass(frozen=True, slots=True)
class Marked:
    """A picture (sRGB, 8 bit) and the box of its subject. `kind` is "photograph", "composite" or "sample"."""

    name: str
    kind: str
    picture: Image.Image
    box: Region


def shipped(name: str) -> Image.Image:
    """Return a photograph that a package ships."""
    package, _ = SHIPPED[name]
    with (files(package) / name).open("rb") as stream:
        return Image.open(stream).convert("RGB")


def photographs() -> Iterator[Marked]:
    """Yield the photographs with their marks."""
    for name, (_, box) in SHIPPED.items():
        yield Marked(name, "photograph", shipped(name), box)


def sample_marks() -> dict[str, Region]:
    """Return the keep box of each frame of the sample shoot, by its file."""
    job = tomllib.loads((SAMPLE / "job.toml").read_text(encoding="utf-8"))
    return {entry["file"]: Region(*entry["keep"]) for entry in job["frames"]}


def composites(every: int = 1) -> Iterator[Marked]:
    """Yield pictures of one thing on a ground that is none: where it was put is known. The same every time."""
    for number in range(0, COMPOSITES, every):
        yield composite(number)


def composite(number: int) -> Marked:
    """Return one of them: a flower, a cup or a bowl, somewhere on wood, linen, stone or paper, some with props."""
    chance = np.random.default_rng([2026, number])
    width, height = (WIDE, WIDE, TALL)[number % 3]
    ground = _ground(chance, (width, height), ("wood", "linen", "stone", "paper")[number % 4])
    thing = (_flower, _cup, _bowl)[number % 3 - number // 12 % 3](chance)
    scale = chance.uniform(0.28, 0.62) * min(width, height) / max(thing.size)
    thing = thing.resize((round(thing.width * scale), round(thing.height * scale)), Image.Resampling.LANCZOS)
    left = int(chance.uniform(0.06, 0.94) * (width - thing.width))
    top = int(chance.uniform(0.06, 0.94) * (height - thing.height))
    if number % 2:
        _lay_props(chance, ground, (left, top, left + thing.width, top + thing.height))
    ground = ground.filter(ImageFilter.GaussianBlur(chance.uniform(0.0, 3.0)))
    shadow = Image.new("L", ground.size)
    shadow.paste(thing.getchannel("A"), (left + thing.width // 30, top + thing.height // 25))
    dark = shadow.filter(ImageFilter.GaussianBlur(thing.width / 25)).point(lambda value: value // 2)
    ground.paste((25, 22, 20), mask=dark)
    ground.paste(thing, (left, top), thing)
    grain = chance.normal(0.0, chance.uniform(0.5, 3.0), (height, width, 1))
    picture = Image.fromarray(np.clip(np.asarray(ground) + grain, 0, 255).astype(np.uint8))
    box = Region(left / width, top / height, (left + thing.width) / width, (top + thing.height) / height)
    return Marked(f"composite {number}", "composite", picture, box)


def _smooth(chance: np.random.Generator, size: tuple[int, int], cells: tuple[int, int]) -> NDArray[np.float64]:
    """Return noise of 0..1 with so many cells across and down, as height x width."""
    small = Image.fromarray((chance.random((cells[1], cells[0])) * 255).astype(np.uint8))
    return np.asarray(small.resize(size, Image.Resampling.BICUBIC), dtype=np.float64) / 255


def _ground(chance: np.random.Generator, size: tuple[int, int], kind: str) -> Image.Image:
    light = 0.75 + 0.5 * _smooth(chance, size, (3, 3))[..., None]
    if kind == "wood":
        fibre = _smooth(chance, size, (6, 90)) * 0.6 + _smooth(chance, size, (12, 240)) * 0.4
        colour = np.array([132, 96, 66]) * (0.7 + 0.6 * fibre[..., None])
    elif kind == "linen":
        weave = _smooth(chance, size, (size[0] // 3, 30)) + _smooth(chance, size, (30, size[1] // 3))
        colour = np.array([196, 189, 176]) * (0.8 + 0.2 * weave[..., None])
    elif kind == "stone":
        specks = _smooth(chance, size, (size[0] // 4, size[1] // 4)) * 0.5 + _smooth(chance, size, (40, 40)) * 0.5
        colour = np.array([120, 122, 126]) * (0.75 + 0.5 * specks[..., None])
    else:
        colour = np.broadcast_to(np.array([225.0, 221.0, 214.0]), (size[1], size[0], 3))
    return Image.fromarray(np.clip(colour * light, 0, 255).astype(np.uint8))


def _lay_props(chance: np.random.Generator, ground: Image.Image, taken: tuple[int, int, int, int]) -> None:
    """Draw a few small grey things (a spoon's handle, a dish of salt) clear of the subject."""
    pen = ImageDraw.Draw(ground)
    for _ in range(3):
        side = int(chance.uniform(0.05, 0.1) * ground.width)
        x, y = int(chance.uniform(0, ground.width - side)), int(chance.uniform(0, ground.height - side))
        if taken[0] - side < x < taken[2] and taken[1] - side < y < taken[3]:
            continue
        grey = int(chance.uniform(90, 200))
        if chance.random() < 0.5:
            pen.ellipse((x, y, x + side, y + side), fill=(grey, grey, grey - 6))
        else:
            pen.line((x, y, x + 2 * side, y + side), fill=(grey, grey, grey - 4), width=max(4, side // 8))


@cache
def _flower_cut() -> Image.Image:
    picture = shipped("flower.jpg").crop((165, 80, 455, 365))
    red, _, blue = (np.asarray(band, dtype=np.int16) for band in picture.split())
    mask = Image.fromarray(np.where(red - blue > 40, 255, 0).astype(np.uint8))
    mask = mask.filter(ImageFilter.MedianFilter(9)).filter(ImageFilter.GaussianBlur(1))
    cut = picture.copy()
    cut.putalpha(mask)
    return cut.crop(mask.point(lambda value: 255 * (value > 128)).getbbox())


def _flower(chance: np.random.Generator) -> Image.Image:
    turned = _flower_cut().rotate(chance.uniform(-40, 40), Image.Resampling.BICUBIC, expand=True)
    return turned.crop(turned.getchannel("A").point(lambda value: 255 * (value > 128)).getbbox())


def _cup(chance: np.random.Generator) -> Image.Image:
    picture = shipped("coffee.png").crop((66, 16, 480, 388))
    mask = Image.new("L", picture.size)
    pen = ImageDraw.Draw(mask)
    pen.ellipse((4, 60, 408, 368), fill=255)
    pen.ellipse((104, 2, 354, 210), fill=255)
    picture.putalpha(mask.filter(ImageFilter.GaussianBlur(1)))
    return picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT) if chance.random() < 0.5 else picture


def _bowl(chance: np.random.Generator) -> Image.Image:
    """Return a bowl that is drawn: a rim, a soup of one colour with its grain, bits on top; seen at an angle."""
    side, flat = 640, chance.uniform(0.6, 1.0)
    rim = np.array([[210, 205, 196], [70, 84, 96], [150, 92, 66]][int(chance.integers(3))])
    soup = np.array([[196, 78, 36], [206, 160, 60], [92, 118, 52], [120, 44, 60]][int(chance.integers(4))])
    grid = np.linspace(-1, 1, side)
    radius = np.hypot(*np.meshgrid(grid, grid))
    grain = 0.85 + 0.3 * _smooth(chance, (side, side), (90, 90))[..., None]
    shade = 1.0 - 0.25 * np.clip(np.meshgrid(grid, grid)[0], -1, 1)[..., None]
    colour = np.where(radius[..., None] < 0.8, soup * grain, rim * shade)
    drawn = Image.fromarray(np.clip(colour, 0, 255).astype(np.uint8))
    pen = ImageDraw.Draw(drawn)
    for _ in range(int(chance.integers(6, 22))):
        angle, out, size = chance.uniform(0, 6.28), chance.uniform(0, 0.55), chance.uniform(10, 48)
        x, y = side / 2 * (1 + out * np.cos(angle)), side / 2 * (1 + out * np.sin(angle))
        fill = [(60, 110, 40), (236, 226, 205), (170, 30, 24)][int(chance.integers(3))]
        pen.ellipse((x - size, y - size * 0.7, x + size, y + size * 0.7), fill=fill, outline=(50, 40, 30))
    drawn.putalpha(Image.fromarray(np.where(radius < 1, 255, 0).astype(np.uint8)).filter(ImageFilter.GaussianBlur(1)))
    return drawn.resize((side, round(side * flat)), Image.Resampling.LANCZOS)
