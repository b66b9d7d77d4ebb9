"""How deep sharpness reaches in front of and behind the plane of focus. All lengths in millimetres.

Source: thin-lens formulas as handbooks print them [Ray]; circles of confusion by format from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FULL_FRAME_CIRCLE_MM = 0.030


@dataclass(frozen=True, slots=True)
class Depth:
    """The nearest and the farthest distance that look sharp; `far` is infinite from the hyperfocal distance on."""

    near: float
    far: float

    @property
    def total(self) -> float:
        """Return the depth of field."""
        return self.far - self.near


def circle_of_confusion_mm(crop_factor: float) -> float:
    """Return the largest blur circle on the sensor that still looks like a point, scaled from 0.030 mm at 36 x 24."""
    return FULL_FRAME_CIRCLE_MM / crop_factor


def hyperfocal_mm(focal: float, f_number: float, circle: float) -> float:
    """Return H = f^2 / (N c) + f."""
    return focal**2 / (f_number * circle) + focal


def depth_of_field(focal: float, f_number: float, circle: float, distance: float) -> Depth:
    """Return what looks sharp for a lens focused at `distance` (from the lens, larger than `focal`).

    near = s (H - f) / (H + s - 2 f), far = s (H - f) / (H - s). Raises ValueError for a distance inside the lens.
    """
    if distance <= focal:
        raise ValueError(f"a lens of {focal:g} mm cannot focus at {distance:g} mm")
    hyperfocal = hyperfocal_mm(focal, f_number, circle)
    near = distance * (hyperfocal - focal) / (hyperfocal + distance - 2 * focal)
    far = distance * (hyperfocal - focal) / (hyperfocal - distance) if distance < hyperfocal else math.inf
    return Depth(near, far)
