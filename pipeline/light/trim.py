"""Millimetres of paper and pixels: px = mm / 25.4 * ppi.

The trim is the page as it is cut; the bleed is the picture that runs past each of its four edges.
"""

from __future__ import annotations

from fractions import Fraction

from pipeline.light.box import Region, Size
from pipeline.light.ratio import exact, half_up

MM_PER_INCH = Fraction(254, 10)


def px_from_mm(length_mm: float | Fraction, ppi: float) -> Fraction:
    """Return the exact number of pixels, not yet rounded."""
    return exact(length_mm) / MM_PER_INCH * exact(ppi)


def ppi_of(length_px: float, length_mm: float) -> float:
    """Return the pixels per inch of paper where `length_px` source pixels fill `length_mm` of paper."""
    return float(exact(length_px) * MM_PER_INCH / exact(length_mm))


def size_px(size_mm: tuple[float, float], ppi: float, bleed_mm: float = 0.0) -> Size:
    """Return the whole pixels of the trim with its bleed on all four sides, each side rounded by itself."""
    width, height = _outer_mm(size_mm, bleed_mm)
    return Size(half_up(px_from_mm(width, ppi)), half_up(px_from_mm(height, ppi)))


def trim_region(size_mm: tuple[float, float], bleed_mm: float = 0.0) -> Region:
    """Return where the trim lies inside the box that holds the bleed, as fractions of that box."""
    width, height = _outer_mm(size_mm, bleed_mm)
    across, down = exact(bleed_mm) / width, exact(bleed_mm) / height
    return Region(float(across), float(down), float(1 - across), float(1 - down))


def _outer_mm(size_mm: tuple[float, float], bleed_mm: float) -> tuple[Fraction, Fraction]:
    return exact(size_mm[0]) + 2 * exact(bleed_mm), exact(size_mm[1]) + 2 * exact(bleed_mm)
