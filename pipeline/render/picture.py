"""The pixels of one rendition: the order of every operation, written in this one place.

Values between the steps are float32 `pyvips.Image`s of three bands, height x width as libvips holds them:

    cut               source encoding, as decoded (uchar or ushort)
    linear_light      linear light, 0..1: source RGB (matrix profiles) or XYZ D50 (all others)
    reduce            the same, at the output size
    working_space     CIE Lab D50, L 0..100
    sharpen_lightness the same
    target_space      linear RGB of the target, 0..1 inside its gamut
    proof_mark        the same
    quantise          encoded RGB of the target, uchar 0..255
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.light.icc import read_matrix_profile
from pipeline.light.spaces import ADOBE_RGB, DISPLAY_P3, SRGB
from pipeline.render.average import average_colour
from pipeline.render.colour import linear_light, outside_gamut, quantise, target_space, working_space
from pipeline.render.mark import proof_mark
from pipeline.render.resize import cut, reduce
from pipeline.render.sharpen import sharpen_lightness

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.frames.pixels import Pixels
    from pipeline.light.box import Box, Size
    from pipeline.light.icc import MatrixProfile
    from pipeline.light.spaces import RGBSpace
    from pipeline.plan.rendition import PixelSettings

SPACES: dict[str, RGBSpace] = {"srgb": SRGB, "display-p3": DISPLAY_P3, "adobe-rgb": ADOBE_RGB}


@dataclass(frozen=True, slots=True)
class Spec:
    """All that the steps of one picture need to know; each step is built from it and then applied."""

    box: Box
    size: Size
    icc_profile: bytes
    source: MatrixProfile | None
    space: RGBSpace
    settings: PixelSettings


@dataclass(frozen=True, slots=True)
class Picture:
    """Finished pixels (uchar, encoded RGB of `space`), and what was measured of them.

    `outside_gamut` is the share of them (0..1) that had to be clipped into gamut, `average` the mean of their light
    as a CSS colour ("#rrggbb").
    """

    image: Any
    space: RGBSpace
    outside_gamut: float
    average: str | None = None


STEPS: tuple[Callable[[Spec], Callable[[Any], Any]], ...] = (
    lambda spec: cut(spec.box),
    lambda spec: linear_light(spec.source, spec.icc_profile),
    lambda spec: reduce(spec.size, brightest=1.0 if spec.source else None),
    lambda spec: working_space(spec.source),
    lambda spec: sharpen_lightness(
        spec.settings.sharpen_radius_px, spec.settings.sharpen_amount, spec.settings.halo_limit
    ),
    lambda spec: target_space(spec.space),
    lambda spec: proof_mark(spec.settings.mark, spec.size),
    lambda spec: quantise(spec.space),
)
AFTER_WORKING_SPACE = 4


def run_steps(image: Any, spec: Spec, steps: tuple[Callable[[Spec], Callable[[Any], Any]], ...]) -> Any:  # noqa: ANN401
    """Return the image after each step in turn (libvips images have no types to name)."""
    for build in steps:
        image = build(spec)(image)
    return image


def make_picture(pixels: Pixels, box: Box, size: Size, settings: PixelSettings) -> Picture:
    """Return the finished pixels of one rendition at one size, from a decoded frame in its own encoding."""
    profile = pixels.icc_profile
    spec = Spec(box, size, profile, read_matrix_profile(profile), SPACES[settings.colour], settings)
    # The reduced pixels are used twice (measured, sharpened): held once, they are worked out once.
    working = run_steps(pixels.image, spec, STEPS[:AFTER_WORKING_SPACE]).copy_memory()
    share = outside_gamut(working, spec.space)
    finished = run_steps(working, spec, STEPS[AFTER_WORKING_SPACE:]).copy_memory()
    return Picture(finished, spec.space, share, average_colour(finished, spec.space))
