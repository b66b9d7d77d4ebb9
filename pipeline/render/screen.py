"""How pixels of any space look on a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.frames.pixels import Pixels
from pipeline.light.spaces import SRGB
from pipeline.render.colour import linear_light, quantise, target_space, working_space
from pipeline.render.output_profile import icc_profile_of
from pipeline.render.source import source_of

if TYPE_CHECKING:
    from pipeline.render.output_profile import Space

ENOUGH = 256  # columns and rows of a sample: its mean differs from that of all pixels by nothing that shows


def in_srgb(image: Any, space: Space) -> Any:  # noqa: ANN401 (libvips images have no types to name)
    """Return finished pixels of `space` (uchar) as encoded sRGB, uchar.

    They are read by their own ICC profile as any frame is: relative colorimetric, black and white of the paper laid on
    those of the screen.
    """
    source = source_of(Pixels(image, icc_profile_of(space), ()))
    xyz = working_space(source.profile)(linear_light(source.profile)(source.image))
    return quantise(SRGB)(target_space(SRGB)(xyz))


def sample(image: Any) -> Any:  # noqa: ANN401 (as above)
    """Return pixels of an image at even steps, about `ENOUGH` across and down."""
    return image.subsample(max(1, image.width // ENOUGH), max(1, image.height // ENOUGH))
