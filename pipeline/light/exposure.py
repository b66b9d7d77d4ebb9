"""Exposure in numbers: what aperture, shutter and sensitivity let in.

Source: [Ray] and ISO 2720 for the exposure value; the hand-held rule is common practice, no source.
"""

from __future__ import annotations

import math

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
MID_GREY = 0.18  # of the light that white gives: what a meter brings a scene to on average (common practice, no source)
DARKEST = 1e-6  # black is so many times darker, for a number that stays finite


def exposure_value(f_number: float, exposure_s: float) -> float:
    """Return EV = log2(N^2 / t): 0 at f/1 and one second."""
    return math.log2(f_number**2 / exposure_s)


def exposure_value_at_iso_100(f_number: float, exposure_s: float, iso: float) -> float:
    """Return the exposure value that the same light would ask for at ISO 100: EV - log2(ISO / 100)."""
    return exposure_value(f_number, exposure_s) - math.log2(iso / 100)


def stops_from_mid_grey(luminance: float) -> float:
    """Return how many stops a mean luminance (Y, white is 1) lies above mid grey; below it, less than 0."""
    return math.log2(max(luminance, DARKEST) / MID_GREY)


def longest_hand_held_s(focal_mm: float, crop_factor: float) -> float:
    """Return the longest shutter time that a hand holds still: one over the full-frame focal length, in seconds."""
    return 1.0 / (focal_mm * crop_factor)
