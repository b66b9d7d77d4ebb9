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

Where the package was built with a compiler, all that lies between the first step and the last is done in one sweep
(`pipeline.render.compiled`): the same arithmetic, without the images in between. These steps are what it is held to.

A frame whose profile is one of tables comes to the first step as X, Y and Z by curves (`pipeline.render.source`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.light.box import Box, Size
from pipeline.light.icc_output import RGBProfile
from pipeline.light.spaces import SRGB, RGBSpace
from pipeline.light.turn import Turn
from pipeline.render import compiled
from pipeline.render.arrays import codes_image
from pipeline.render.average import average_colour, average_of
from pipeline.render.colour import linear_light, matrix_of, outside_gamut, quantise, target_space, working_space
from pipeline.render.each import in_turn
from pipeline.render.gamut import soften
from pipeline.render.halved import box_in_half, is_small_enough, kernels_in_half
from pipeline.render.ink import total_ink
from pipeline.render.mark import proof_mark
from pipeline.render.output_profile import space_of
from pipeline.render.resize import cut, image_of, reduce
from pipeline.render.screen import in_srgb, sample
from pipeline.render.sharpen import SMALLEST_SIDE, sharpen_lightness, unsharp
from pipeline.render.source import Source, source_of
from pipeline.render.turn import level, source_box

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from pipeline.frames.pixels import Pixels
    from pipeline.light.icc import MatrixProfile
    from pipeline.plan.rendition import PixelSettings
    from pipeline.render.each import Each
    from pipeline.render.ink import Ink
    from pipeline.render.output_profile import Space
    from pipeline.render.sharpen import Unsharp


@dataclass(frozen=True, slots=True)
class Spec:
    """All that the steps of one picture need to know; each step is built from it and then applied.

    `box` is in pixels of the turned frame, where there is a `turn`. A `preview` is only looked at on a contact sheet.
    """

    box: Box
    size: Size
    source: MatrixProfile
    space: Space
    settings: PixelSettings
    turn: Turn | None = None
    preview: bool = False

    @property
    def part(self) -> Box:
        """Return the part of the unturned frame that the picture is made from."""
        return source_box(self.turn, self.box, self.size) if self.turn else self.box

    @property
    def reduction(self) -> float:
        """Return how many times smaller the picture is than its part of the frame."""
        return math.sqrt(self.box.size.pixels / self.size.pixels)


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
    array: NDArray[np.uint8] | None = field(default=None, compare=False)

    @property
    def codes(self) -> NDArray[np.uint8]:
        """Return the pixels (h, w, bands): `array`, where they were made as one and `image` lies over it."""
        if self.array is not None:
            return self.array
        image = self.image
        return np.asarray(image.numpy()).reshape(image.height, image.width, image.bands)


@dataclass(frozen=True, slots=True)
class Lit:
    """A picture in the target's linear light: what its steps know, its pixels, and how many were outside the gamut.

    `outside_gamut` is the share of them (0..1).
    """

    spec: Spec
    image: Any
    outside_gamut: float


BRIGHTEST = 1.0  # light that a frame's own encoding can hold
RGB_SPACES = RGBSpace, RGBProfile

Steps = tuple["Callable[[Spec], Callable[[Any], Any]]", ...]

TO_WORKING_SPACE: Steps = (
    lambda spec: cut(spec.part),
    lambda spec: linear_light(spec.source),
    lambda spec: level(spec.turn, spec.box, spec.size, BRIGHTEST) if spec.turn else reduce(spec.size, BRIGHTEST),
    lambda spec: working_space(spec.source),
)
TO_TARGET_LIGHT: Steps = (
    lambda spec: sharpen_lightness(
        spec.settings.sharpen_radius_px,
        spec.settings.sharpen_amount,
        spec.settings.halo_limit,
        spec.reduction,
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
    source = frame if isinstance(frame, Source) else source_of(frame)
    return make_pictures(source, [spec_of(source, box, size, settings, turn_deg)])[0]


def make_pictures(source: Source, specs: Sequence[Spec], each: Each = in_turn) -> list[Picture]:
    """Return the finished pixels of several pictures of one frame: those for RGB targets in one sweep over it.

    `each` says how the strips of the sweep are done; what comes of them is the same.
    """
    at_once = [spec for spec in specs if ends_in_sweep(spec)]
    swept = iter(_swept_pictures(source, at_once, each))
    return [next(swept) if ends_in_sweep(spec) else finished(lit(source, spec)) for spec in specs]


def spec_of(
    source: Source, box: Box, size: Size, settings: PixelSettings, turn_deg: float, *, preview: bool = False
) -> Spec:
    """Return what the steps need to know; the arguments are those of `make_picture`."""
    turn = Turn(Size(source.image.width, source.image.height), turn_deg) if turn_deg else None
    return Spec(box, size, source.profile, space_of(settings), settings, turn, preview)


def ends_in_sweep(spec: Spec) -> bool:
    """Return whether a sweep over the frame gives the finished pixels of a picture."""
    plain = spec.turn is None and not spec.settings.mark and spec.settings.gamut == "clip"
    return compiled.IS_BUILT and plain and isinstance(spec.space, RGB_SPACES)


def _swept_pictures(source: Source, specs: Sequence[Spec], each: Each) -> list[Picture]:
    """Return the finished pixels of each; those that are alike are made once."""
    ways = [_way(one) for one in specs]
    first = dict(zip(reversed(ways), reversed(specs), strict=True))
    wanted = [_wanted_of_half(one) if way.of_half else _wanted("codes", one) for way, one in first.items()]
    found = compiled.sweep(compiled.Frame(source.codes, source.profile), wanted, each) if wanted else []
    pictures = {way: _finished(first[way], made) for way, made in zip(first, found, strict=True)}
    return [pictures[way] for way in ways]


@dataclass(frozen=True, slots=True)
class _Way:
    """All that the pixels of a swept picture depend on, beside the frame."""

    box: Box
    size: Size
    how: Unsharp | None
    space: RGBSpace | bytes
    of_half: bool


def _way(spec: Spec) -> _Way:
    space = spec.space.icc_profile if isinstance(spec.space, RGBProfile) else spec.space
    if not isinstance(space, RGBSpace | bytes):
        raise TypeError("a sweep ends in RGB")
    return _Way(spec.box, spec.size, _how(spec), space, spec.preview and is_small_enough(spec.box, spec.size))


def _wanted_of_half(spec: Spec) -> compiled.Wanted:
    wanted = _wanted("codes", spec, box_in_half(spec.box))
    return replace(wanted, kernels=kernels_in_half(spec.box, spec.size), of_half=True)


def _finished(spec: Spec, made: compiled.Made) -> Picture:
    picture = Picture(codes_image(made.picture), spec.space, made.outside / spec.size.pixels, array=made.picture)
    average = average_of(made.light, spec.space) if isinstance(spec.space, RGBSpace) else _average(picture)
    return replace(picture, average=average)


def _wanted(wants: compiled.Wants, spec: Spec, box: Box | None = None) -> compiled.Wanted:
    target = matrix_of(spec.space) if isinstance(spec.space, RGB_SPACES) else spec.source
    return compiled.Wanted(wants, box or spec.box, spec.size, target, _how(spec), BRIGHTEST)


def _how(spec: Spec) -> Unsharp | None:
    """Return how a picture is sharpened, None where it is not."""
    settings, size = spec.settings, spec.size
    if settings.sharpen_amount <= 0 or min(size.width, size.height) < SMALLEST_SIDE:
        return None
    return unsharp(settings.sharpen_radius_px, settings.sharpen_amount, settings.halo_limit, spec.reduction)


def lit(source: Source, spec: Spec) -> Lit:
    """Return a picture sharpened, in the target's linear light."""
    if not (compiled.IS_BUILT and isinstance(spec.space, RGB_SPACES)):
        # The reduced pixels are used twice (measured, sharpened): held once, they are worked out once.
        working = working_space(source.profile)(light_of(source, spec)).copy_memory()
        return Lit(spec, run_steps(working, spec, TO_TARGET_LIGHT), outside_gamut(working, spec.space))
    frame, box = compiled.Frame(source.codes, source.profile), spec.box
    if spec.turn:
        light = np.asarray(light_of(source, spec).numpy(), dtype=np.float32)
        frame, box = compiled.Frame(light, source.profile), Box(0, 0, spec.size.width, spec.size.height)
    made = compiled.sweep(frame, [_wanted("target light", spec, box)])[0]
    image = image_of(made.picture)
    soft = soften(matrix_of(spec.space).to_pcs)(image) if spec.settings.gamut == "soft" else image
    return Lit(spec, soft, made.outside / spec.size.pixels)


def light_of(source: Source, spec: Spec) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return the linear light of the frame at the output size, as a float image."""
    if not compiled.IS_BUILT or spec.turn:
        # No `copy_memory`: of an image over an array it gives one that does not hold the array, which may go.
        return run_steps(source.image, spec, TO_WORKING_SPACE[:-1])
    frame = compiled.Frame(source.codes, source.profile)
    return image_of(compiled.sweep(frame, [_wanted("light", spec)])[0].picture)


def finished(light: Lit) -> Picture:
    """Return the picture of pixels in the target's linear light: marked, quantised and measured."""
    spec = light.spec
    image = run_steps(light.image, spec, TO_CODES).copy_memory()
    ink = total_ink(image, spec.settings.ink_limit) if image.bands == CMYK_BANDS else None
    picture = Picture(image, spec.space, light.outside_gamut, ink=ink)
    return replace(picture, average=_average(picture))


def on_screen(picture: Picture) -> Picture:
    """Return a picture as a screen shows it: grey, CMYK and what else is no RGB space of ours in sRGB.

    It is read back by its own ICC profile as any frame is (relative colorimetric, black and white of the paper laid on
    those of the screen), so that she sees what the press gives. Others come back as they are.
    """
    if isinstance(picture.space, RGBSpace):
        return picture
    return replace(picture, image=in_srgb(picture.image, picture.space).copy_memory(), space=SRGB, array=None)


def _average(picture: Picture) -> str:
    """Return the mean colour as a screen shows it; of what has to be converted for that, from a sample."""
    if isinstance(picture.space, RGBSpace):
        return average_colour(picture.image, picture.space)
    return average_colour(in_srgb(sample(picture.image), picture.space), SRGB)
