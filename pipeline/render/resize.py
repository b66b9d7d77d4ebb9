"""Cut and reduce, both on whole pixels of the planned size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.light.box import Box, Size


# `gap`: from twice this factor on whole pixels are averaged first, for libvips holds no kernel of over 2000 points.
KERNEL: dict[str, Any] = {"kernel": "lanczos3", "gap": 100.0}


def cut(box: Box) -> Callable[[Any], Any]:
    """Return a step that cuts `box` out of an upright image."""
    return lambda image: image.crop(box.left, box.top, box.width, box.height)


def reduce(size: Size, brightest: float | None) -> Callable[[Any], Any]:
    """Return a step that brings an image of linear light to `size` exactly (never larger).

    Lanczos of three lobes over the whole reduction: the kernel's support grows with the factor, so detail above
    the new Nyquist frequency is gone before sampling. Only an icon of a huge frame (a factor of 200 or more) gets
    a coarse first pass.
    What the kernel rings below black, where light ends, and above `brightest`, the most that the frame's own
    encoding can hold (None where that is not known), is cut off.
    """

    def step(image: Any) -> Any:  # noqa: ANN401 (libvips images have no types to name)
        if (image.width, image.height) == (size.width, size.height):
            return image
        across, down = image.width / size.width, image.height / size.height
        smaller = image.reducev(down, **KERNEL).reduceh(across, **KERNEL)
        if (smaller.width, smaller.height) != (size.width, size.height):
            raise AssertionError(f"reduced to {smaller.width} x {smaller.height}, planned {size.width} x {size.height}")
        lit = (smaller > 0).ifthenelse(smaller, 0)
        return lit if brightest is None else (lit < brightest).ifthenelse(lit, brightest)

    return step
