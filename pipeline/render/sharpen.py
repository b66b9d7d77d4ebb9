"""Output sharpening on lightness, after the last resize and before the target's space."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

# In units of L*. Detail smaller than this is grain, and left alone; detail larger gets the whole amount.
GRAIN = 0.8
# L* of 8-bit levels 1 and 254: what is black or blown stays so.
DARKEST, LIGHTEST = 0.3, 99.6
STRENGTH = 1.5


def sharpen_lightness(sigma_px: float, amount: float, halo_limit: float) -> Callable[[Any], Any]:
    """Return a step that raises local contrast of L in a CIE Lab image; a and b stay as they are.

    `sigma_px` is the Gaussian's sigma in output pixels, `amount` 0..2 (1 is the house strength). The result
    may leave the range of L within reach of the edge by at most `halo_limit` of that range. A picture
    narrower than that reach (3 or 5 px) is left alone.
    """
    if amount <= 0 or sigma_px <= 0:
        return lambda image: image
    window = 2 * math.ceil(sigma_px) + 1

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        if min(image.width, image.height) < window:
            return image
        lightness = image[0]
        detail = lightness - lightness.gaussblur(sigma_px, precision="float", min_ampl=0.01)
        square = detail * detail
        fourth = square * square
        sharper = lightness + detail * (fourth / (fourth + GRAIN**4)) * (amount * STRENGTH)
        low, high = _extremes(lightness, window)
        room = (high - low) * halo_limit
        bounded = _at_most(_at_least(sharper, low - room), high + room)
        touched = (lightness > DARKEST) & (lightness < LIGHTEST)
        return touched.ifthenelse(bounded, lightness).bandjoin(image[1:])

    return step


def _extremes(lightness: Any, window: int) -> tuple[Any, Any]:  # noqa: ANN401 (libvips images have no types to name)
    """Return the smallest and largest L in the window around each pixel."""
    return lightness.rank(window, window, 0), lightness.rank(window, window, window * window - 1)


def _at_least(image: Any, bound: Any) -> Any:  # noqa: ANN401 (as above)
    return (image > bound).ifthenelse(image, bound)


def _at_most(image: Any, bound: Any) -> Any:  # noqa: ANN401 (as above)
    return (image < bound).ifthenelse(image, bound)
