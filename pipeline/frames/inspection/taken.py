"""How a frame was taken, as numbers to reckon with."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.light.depth_of_field import Depth, circle_of_confusion_mm, depth_of_field
from pipeline.light.exposure import exposure_value_at_iso_100, longest_hand_held_s

if TYPE_CHECKING:
    from fractions import Fraction

    from pipeline.frames.header import CameraFacts

# Shutter times in steps of a third of a stop, as cameras mark them (common practice, no source): 1/8000 s ... 30 s.
PARTS = (
    8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200, 160, 125,
    100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4,
)  # fmt: skip
SECONDS = (0.3, 0.4, 0.5, 0.6, 0.8, 1, 1.3, 1.6, 2, 2.5, 3.2, 4, 5, 6, 8, 10, 13, 15, 20, 25, 30)
LEAST, MOST = 1e-9, 1e10  # apertures, seconds, millimetres and sensitivities: beyond them an Exif is broken
LEAST_CROP, MOST_CROP = 0.3, 20.0  # what sensors there are, from large format to telephones


@dataclass(frozen=True, slots=True)
class Taken:
    """Camera facts as plain numbers above 0, None where the Exif is silent. `crop` is 1 on 36 x 24 mm."""

    f_number: float | None
    exposure_s: float | None
    iso: float | None
    focal_mm: float | None
    distance_mm: float | None
    crop: float | None

    @property
    def ev_100(self) -> float | None:
        """Return the exposure value at ISO 100."""
        if self.f_number is None or self.exposure_s is None or self.iso is None:
            return None
        return exposure_value_at_iso_100(self.f_number, self.exposure_s, self.iso)

    @property
    def hand_held_s(self) -> float | None:
        """Return the longest time that a hand holds still; where the sensor is not known, as for a full one."""
        return None if self.focal_mm is None else longest_hand_held_s(self.focal_mm, self.crop or 1.0)

    @property
    def depth(self) -> Depth | None:
        """Return the depth of field."""
        if self.f_number is None or self.focal_mm is None or self.distance_mm is None or self.crop is None:
            return None
        if self.distance_mm <= self.focal_mm:
            return None
        return depth_of_field(self.focal_mm, self.f_number, circle_of_confusion_mm(self.crop), self.distance_mm)


def taken(camera: CameraFacts) -> Taken:
    """Return the facts that can be reckoned with."""
    focal, focal_35, distance = _above_0(camera.focal_mm), _above_0(camera.focal_35_mm), _above_0(camera.distance_m)
    crop = focal_35 / focal if focal and focal_35 else None
    return Taken(
        f_number=_above_0(camera.f_number),
        exposure_s=_above_0(camera.exposure_s),
        iso=_above_0(camera.iso),
        focal_mm=focal,
        distance_mm=distance * 1000 if distance else None,
        crop=crop if crop and LEAST_CROP <= crop <= MOST_CROP else None,
    )


def marked(seconds: float) -> float:
    """Return the shutter time nearest to one that cameras have marked on them."""
    times = [1 / part for part in PARTS] + list(SECONDS)
    return min(times, key=lambda time: abs(math.log(time / seconds)))


def shutter(seconds: float) -> str:
    """Return a shutter time as photographers write it: "1/60 s", "0.5 s", "2 s"."""
    return f"1/{round(1 / seconds)} s" if 0 < seconds < 0.3 else f"{seconds:.2g} s"


def _above_0(value: Fraction | int | None) -> float | None:
    """Return a fact as a float, None where it is not above 0 or no camera could have it."""
    return float(value) if value is not None and LEAST <= value <= MOST else None
