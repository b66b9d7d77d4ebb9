"""How far and how strongly output sharpening may reach: on paper by the eye, on a screen by the reduction done.

Everything is told of edges under a Gaussian blur, sigma in output pixels. Sources: [Fraser] halo of 1/100 to 1/50 inch
on paper; viewing distance x 0.0004 for half of it. The rest are house choices; `tests/render/test_sharpen.py` measures
what comes of them.
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

MM_PER_INCH = 25.4
HALO_MM = (MM_PER_INCH / 100, MM_PER_INCH / 50)
HALF_HALO_PER_DISTANCE = 0.0004

# The blur of a frame at its own size, after lens and demosaicing, and what the resizing kernel leaves of any edge.
FRAME_SIGMA_PX, KERNEL_SIGMA_PX = 0.8, 0.37
# The edge by which strength is told, and by how much its MTF50 is meant to rise on a screen: at no reduction, and from
# half the size on, where a pixel already holds sharper detail than the frame had.
REFERENCE_SIGMA_PX = 0.7
UNREDUCED_GAIN, REDUCED_GAIN = 0.42, 0.25
PAPER_GAIN = 0.40  # ink spreads
NARROWEST_SIGMA_PX, WIDEST_SIGMA_PX = 0.5, 40.0


def paper_halo_mm(viewing_mm: float) -> float:
    """Return the full width of a halo on paper seen at `viewing_mm`, held to 1/100 .. 1/50 inch."""
    low, high = HALO_MM
    return min(max(2 * HALF_HALO_PER_DISTANCE * viewing_mm, low), high)


def paper_radius_px(viewing_mm: float, ppi: float) -> float:
    """Return half of that width in output pixels at `ppi`."""
    return paper_halo_mm(viewing_mm) / 2 / MM_PER_INCH * ppi


def edge_sigma_px(reduction: float) -> float:
    """Return the blur of a sharp edge in the output: the frame's, made `reduction` (at least 1) times smaller."""
    return math.cbrt((FRAME_SIGMA_PX / reduction) ** 3 + KERNEL_SIGMA_PX**3)


def screen_gain(reduction: float) -> float:
    """Return by how much (0.25 .. 0.42) the MTF50 of the reference edge is to rise on a screen."""
    return UNREDUCED_GAIN - (UNREDUCED_GAIN - REDUCED_GAIN) * min(math.log2(reduction), 1.0)


def halo_width_px(edge_px: float, sigma_px: float) -> float:
    """Return the full width of the halo that unsharp masking by `sigma_px` lays around an edge of blur `edge_px`.

    It is measured from where the dark line has fallen to half its depth, on its outer side, to where the light one has.
    """
    wide = math.hypot(edge_px, sigma_px)

    def line(at: float) -> float:
        return _normal(at / edge_px) - _normal(at / wide)

    inner = _line_at(edge_px, sigma_px)
    half = line(inner) / 2
    return 2 * _where(lambda at: line(at) > half, inner, inner + 8 * wide)


def sigma_for_halo(width_px: float, edge_px: float) -> float:
    """Return the sigma whose halo around an edge of blur `edge_px` has that full width, or the nearest there is."""
    return _where(lambda sigma: halo_width_px(edge_px, sigma) < width_px, NARROWEST_SIGMA_PX, WIDEST_SIGMA_PX)


def gaussian_taps(sigma_px: float) -> tuple[float, ...]:
    """Return one side of a sampled Gaussian, the middle first; with both sides its sum is 1."""
    reach = max(1, math.ceil(2.5 * sigma_px))
    raw = [math.exp(-(at**2) / (2 * sigma_px**2)) for at in range(reach + 1)]
    whole = raw[0] + 2 * sum(raw[1:])
    return tuple(weight / whole for weight in raw)


def strength_for_gain(taps: tuple[float, ...], gain: float) -> float:
    """Return how much of the difference to the blur `taps` to add, so that the reference edge's MTF50 rises by `gain`.

    The MTF of the edge is exp(-2 (pi f sigma)^2); unsharp masking multiplies it by 1 + strength (1 - that of the blur).
    """
    wanted = (1 + gain) * math.sqrt(math.log(2) / 2) / (math.pi * REFERENCE_SIGMA_PX)
    before = math.exp(-2 * (math.pi * wanted * REFERENCE_SIGMA_PX) ** 2)
    blur = taps[0] + 2 * sum(weight * math.cos(2 * math.pi * wanted * at) for at, weight in enumerate(taps) if at)
    return (0.5 / before - 1) / (1 - blur)


def strength_for_overshoot(sigma_px: float, limit: float) -> float:
    """Return the strength at which the light line beside the reference edge is `limit` of its step high."""
    wide = math.hypot(REFERENCE_SIGMA_PX, sigma_px)
    peak = _line_at(REFERENCE_SIGMA_PX, sigma_px)
    return limit / (_normal(peak / REFERENCE_SIGMA_PX) - _normal(peak / wide))


@cache
def range_of_noise(count: int) -> float:
    """Return the expected range of `count` values of normal noise of sigma 1 (2.970 of 9, 3.931 of 25)."""
    steps = [at / 50 for at in range(-400, 401)]
    return sum(1 - _normal(at) ** count - (1 - _normal(at)) ** count for at in steps) / 50


def _line_at(edge_px: float, sigma_px: float) -> float:
    """Return how far from the middle of an edge the halo is strongest."""
    wide = math.hypot(edge_px, sigma_px)
    return math.sqrt(2 * math.log(wide / edge_px) / (1 / edge_px**2 - 1 / wide**2))


def _normal(at: float) -> float:
    return (1 + math.erf(at / math.sqrt(2))) / 2


def _where(holds: Callable[[float], bool], low: float, high: float) -> float:
    """Return, by halving, up to where `holds` is true between two values, false beyond it."""
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
