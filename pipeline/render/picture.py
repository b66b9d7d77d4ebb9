"""The pixels of one rendition: the order of every operation, written in this one place.

Values between the steps are float32 `pyvips.Image`s of three bands, height x width as libvips holds them:

    cut               source encoding, as decoded (uchar or ushort)
    linear_light      linear light of the source's RGB (or X, Y, Z), 0..1
    reduce, level     the same, turned where the frame is levelled, at the output size
    working_space     CIE Lab D50, L 0..100
    sharpen_lightness the same
    target_space      linear light of the target, 0..1 inside its gamut: RGB, grey (one band), XYZ (tables)
    proof_mark        the same
    quantise          codes of the target, uchar 0..255: RGB, grey or CMYK

A frame whose profile is one of tables comes to the first step as X, Y and Z by curves (`pipeline.render.source`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from pipeline.light.box import Box, Size
from pipeline.light.spaces import SRGB, RGBSpace
from pipeline.light.turn import Turn
from pipeline.render.average import average_colour
from pipeline.render.colour import linear_light, outside_gamut, quantise, target_space, working_space
from pipeline.render.ink import total_ink
from pipeline.render.mark import proof_mark
from pipeline.render.output_profile import space_of
from pipeline.render.resize import cut, reduce
from pipeline.render.screen import in_srgb, sample
from pipeline.render.sharpen import sharpen_lightness
from pipeline.render.source import Source, source_of
from pipeline.render.turn import level, source_box

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.frames.pixels import Pixels
    from pipeline.light.icc import MatrixProfile
    from pipeline.plan.rendition import PixelSettings
    from pipeline.render.ink import Ink
    from pipeline.render.output_profile import Space


@dataclass(frozen=True, slots=True)
class Spec:
    """All that the steps of one picture need to know; each step is built from it and then applied.

    `box` is in pixels of the turned frame, where there is a `turn`.
    """

    box: Box
    size: Size
    source: MatrixProfile
    space: Space
    settings: PixelSettings
    turn: Turn | None = None

    @property
    def part(self) -> Box:
        """Return the part of the unturned frame that the picture is made from."""
        return source_box(self.turn, self.box, self.size) if self.turn else self.box


@dataclass(frozen=True, slots=True)
class Picture:
    """Finished pixels (uchar, codes of `space`), and what was measured of them.

    `outside_gamut` is the share of them (0..1) that had to be brought into gamut, `average` the mean of their light
    as a CSS colour ("#rrggbb"), `ink` what a press lays on paper (CMYK alone).
    """

    image: Any
    space: Space
    outside_gamut: float
    average: str | None = None
    ink: Ink | None = None


@dataclass(frozen=True, slots=True)
class Working:
    """A picture in the working space: what its steps know, its pixels, the share of them outside the target's gamut."""

    spec: Spec
    image: Any
    outside_gamut: float


Steps = tuple["Callable[[Spec], Callable[[Any], Any]]", ...]

TO_WORKING_SPACE: Steps = (
    lambda spec: cut(spec.part),
    lambda spec: linear_light(spec.source),
    lambda spec: level(spec.turn, spec.box, spec.size, 1.0) if spec.turn else reduce(spec.size, 1.0),
    lambda spec: working_space(spec.source),
)
TO_TARGET_LIGHT: Steps = (
    lambda spec: sharpen_lightness(
        spec.settings.sharpen_radius_px,
        spec.settings.sharpen_amount,
        spec.settings.halo_limit,
        math.sqrt(spec.box.size.pixels / spec.size.pixels),
    ),
    lambda spec: target_space(spec.space, spec.settings.gamut),
)
TO_CODES: Steps = (
    lambda spec: proof_mark(spec.settings.mark, spec.size),
    lambda spec: quantise(spec.space),
)
STEPS = TO_WORKING_SPACE + TO_TARGET_LIGHT + TO_CODES
AFTER_WORKING_SPACE = len(TO_WORKING_SPACE)
CMYK_BANDS = 4


def run_steps(image: Any, spec: Spec, steps: Steps) -> Any:  # noqa: ANN401
    """Return the image after each step in turn (libvips images have no types to name)."""
    for build in steps:
        image = build(spec)(image)
    return image


def make_picture(
    frame: Pixels | Source, box: Box, size: Size, settings: PixelSettings, turn_deg: float = 0.0
) -> Picture:
    """Return the finished pixels of one rendition at one size, from a decoded frame.

    `box` is in pixels of the frame turned by `turn_deg` (clockwise), which are as large as the frame's. ValueError for
    a frame whose ICC profile cannot be read.
    """
    working = to_working_space(frame, box, size, settings, turn_deg)
    return finished(target_light(working), working.spec, working.outside_gamut)


def to_working_space(
    frame: Pixels | Source, box: Box, size: Size, settings: PixelSettings, turn_deg: float = 0.0
) -> Working:
    """Return a picture in the working space; the arguments are those of `make_picture`."""
    source = frame if isinstance(frame, Source) else source_of(frame)
    turn = Turn(Size(source.image.width, source.image.height), turn_deg) if turn_deg else None
    spec = Spec(box, size, source.profile, space_of(settings), settings, turn)
    # The reduced pixels are used twice (measured, sharpened): held once, they are worked out once.
    image = run_steps(source.image, spec, TO_WORKING_SPACE).copy_memory()
    return Working(spec, image, outside_gamut(image, spec.space))


def target_light(working: Working) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return a picture sharpened, in the target's linear light."""
    return run_steps(working.image, working.spec, TO_TARGET_LIGHT)


def finished(light: Any, spec: Spec, outside: float) -> Picture:  # noqa: ANN401 (as above)
    """Return the picture of pixels in the target's linear light: marked, quantised and measured."""
    image = run_steps(light, spec, TO_CODES).copy_memory()
    ink = total_ink(image, spec.settings.ink_limit) if image.bands == CMYK_BANDS else None
    picture = Picture(image, spec.space, outside, ink=ink)
    return replace(picture, average=_average(picture))


def on_screen(picture: Picture) -> Picture:
    """Return a picture as a screen shows it: grey, CMYK and what else is no RGB space of ours in sRGB.

    It is read back by its own ICC profile as any frame is (relative colorimetric, black and white of the paper laid on
    those of the screen), so that she sees what the press gives. Others come back as they are.
    """
    if isinstance(picture.space, RGBSpace):
        return picture
    return replace(picture, image=in_srgb(picture.image, picture.space).copy_memory(), space=SRGB)


def _average(picture: Picture) -> str:
    """Return the mean colour as a screen shows it; of what has to be converted for that, from a sample."""
    if isinstance(picture.space, RGBSpace):
        return average_colour(picture.image, picture.space)
    return average_colour(in_srgb(sample(picture.image), picture.space), SRGB)
