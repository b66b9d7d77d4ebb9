"""How wide output sharpening may reach: sizes of a halo on paper and on a screen.

Source: [Fraser] halo of 1/100 to 1/50 inch on paper; viewing distance x 0.0004 for half of it.
"""

from __future__ import annotations

MM_PER_INCH = 25.4
HALO_MM = (MM_PER_INCH / 100, MM_PER_INCH / 50)
HALF_HALO_PER_DISTANCE = 0.0004

# The visible half of an unsharp halo reaches about two sigma from the edge.
SIGMAS_PER_HALF_HALO = 2.0
SCREEN_SIGMA_PX = 0.6


def paper_halo_mm(viewing_mm: float) -> float:
    """Return the full width of a halo on paper seen at `viewing_mm`, held to 1/100 .. 1/50 inch."""
    low, high = HALO_MM
    return min(max(2 * HALF_HALO_PER_DISTANCE * viewing_mm, low), high)


def paper_sigma_px(viewing_mm: float, ppi: float) -> float:
    """Return the Gaussian sigma, in output pixels, whose halo has that width at `ppi`."""
    half_px = paper_halo_mm(viewing_mm) / 2 / MM_PER_INCH * ppi
    return half_px / SIGMAS_PER_HALF_HALO
