"""Where two frames lie in one picture."""

from __future__ import annotations

from typing import Literal

from pipeline.light.box import Box, Size

Layout = Literal["side-by-side", "one-above-the-other"]


def halves(whole: Size, layout: Layout, gap_px: int) -> tuple[Box, Box]:
    """Return the boxes of the first and the second frame in the pixels of `whole`, equal in size.

    Between them lies the gap, one pixel wider than `gap_px` where equal halves need it. Raises ValueError where no
    pixel is left for them.
    """
    long = whole.width if layout == "side-by-side" else whole.height
    half = (long - gap_px) // 2
    if half < 1:
        raise ValueError(f"a gap of {gap_px} px leaves two frames no room in {long} px")
    if layout == "side-by-side":
        return Box(0, 0, half, whole.height), Box(whole.width - half, 0, half, whole.height)
    return Box(0, 0, whole.width, half), Box(0, whole.height - half, whole.width, half)


def fitted(whole: Size, layout: Layout, gap_px: int, given: tuple[Size, Size]) -> tuple[Size, int]:
    """Return the largest size of the same shape, and its gap, whose halves are no larger than what is given for each.

    `given` are the pixels that the two frames have for their halves. The gap shrinks with the picture.
    """
    first, _ = halves(whole, layout, gap_px)
    scale = min(1.0, *(min(size.width / first.width, size.height / first.height) for size in given))
    for width in range(max(2, int(whole.width * scale)), 0, -1):
        size = Size(width, max(1, round(width * whole.height / whole.width)))
        gap = round(gap_px * width / whole.width)
        try:
            first, second = halves(size, layout, gap)
        except ValueError:
            break
        pairs = zip((first, second), given, strict=True)
        if all(half.width <= has.width and half.height <= has.height for half, has in pairs):
            return size, gap
    raise ValueError(f"{given[0].width} x {given[0].height} and {given[1].width} x {given[1].height} px are too few")
